-- title: Does a second catheter of the same child do worse than the first?
-- read:  Children with a patient key only; order is by month and order within it. Second
--        catheters are often for longer operations.
with ordered as (
    select
        episode_dwell.*,
        row_number() over (
            partition by patient_key order by placed_month, month_order, site
        ) as catheter_number
    from episode_dwell
    where patient_key is not null
)

select
    least(catheter_number, 3) as catheter_number,
    count(*) as catheters,
    round(median(case when is_removed then dwell_h end), 1) as median_dwell_h,
    round(100.0 * avg(case when is_early then 1 when not is_early then 0 end), 1) as early_per_100
from ordered
group by least(catheter_number, 3)
order by catheter_number
