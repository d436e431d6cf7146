-- title: How long do catheters stay, by nerve target and tunnelling?
-- read:  Median of the catheters with a known removal, next to how many were last seen in place:
--        where those are many the median is too short, and `dwell removal --by nerve_target`
--        gives the Kaplan-Meier median instead.
-- set:   site text all -- code of one site, or all
select
    nerve_target,
    tunnelled,
    count(*) as catheters,
    count(case when not is_removed then 1 end) as last_seen_in_place,
    round(median(case when is_removed then dwell_h end), 1) as median_dwell_h,
    round(median(planned_dwell_h), 1) as median_planned_h
from episode_dwell
where is_dwell_known and ($site = 'all' or site = $site)
group by nerve_target, tunnelled
order by nerve_target, tunnelled
