-- title: How many pumps could not last to the planned end?
-- read:  Expected run-time is filled volume by flow rate. A shortfall of many hours means that
--        the plan and the filling do not belong together.
select
    surgeon_type,
    count(*) as catheters,
    count(case when runtime_h < planned_dwell_h then 1 end) as too_short,
    round(100.0 * count(case when runtime_h < planned_dwell_h then 1 end) / count(*), 1)
        as too_short_per_100,
    round(median(case when runtime_h < planned_dwell_h then planned_dwell_h - runtime_h end), 1)
        as median_shortfall_h
from episode_dwell
where runtime_h is not null
group by surgeon_type
order by too_short_per_100 desc, surgeon_type
