-- title: Which kinds of surgery have catheters out early, and how ill-matched are the plans?
-- read:  Crude percentages: case mix differs by surgery. `dwell compare` adjusts.
select
    surgeon_type,
    count(*) as catheters,
    round(100.0 * avg(case when is_early then 1 else 0 end), 1) as early_per_100,
    round(median(planned_dwell_h), 1) as median_planned_h,
    round(100.0 * count(case when limb = 'lower' then 1 end) / count(*), 1) as lower_limb_per_100,
    round(median(age_years), 1) as median_age_years
from episode_dwell
where is_early is not null
group by surgeon_type
order by early_per_100 desc, surgeon_type
