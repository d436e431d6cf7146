-- title: How often is the removal time known only as an interval?
-- read:  By site and quarter, with the median width. Wide intervals blur early removal and the
--        dwell curves.
-- set:   site text all -- code of one site, or all
select
    site,
    placed_quarter,
    count(*) as removed,
    count(case when dwell_basis = 'interval' then 1 end) as by_interval,
    round(100.0 * count(case when dwell_basis = 'interval' then 1 end) / count(*), 1)
        as by_interval_per_100,
    round(median(case when dwell_basis = 'interval' then right_h - left_h end), 1)
        as median_width_h
from episode_dwell
where is_removed and ($site = 'all' or site = $site)
group by site, placed_quarter
order by site, placed_quarter
