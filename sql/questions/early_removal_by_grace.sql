-- title: How much does the share removed early depend on the hours of grace?
-- read:  Per hours of grace: catheters removed for a reason other than completed longer than
--        that before the planned end, of those of which it is known. Where the three differ
--        much, many are taken out shortly before the end.
-- set:   site text all -- code of one site, or all
select
    grace_h,
    cast(sum(removed_early) as bigint) as removed_early,
    cast(sum(catheters) as bigint) as catheters,
    round(100.0 * sum(removed_early) / sum(catheters), 2) as removed_early_per_100
from early_removal_grace
where $site = 'all' or site = $site
group by grace_h
order by grace_h
