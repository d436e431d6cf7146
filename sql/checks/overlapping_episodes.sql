-- check:  overlapping_episodes
-- title:  Two catheters of one child placed one after the other
-- reads:  episode
-- No dates are kept, so an overlap shows only where two placements of one child follow
-- each other directly at a site within a month: two catheters at once, or one entered twice.
-- Those of one operation are meant.
with placed as (
    select
        site,
        episode_id,
        month_order,
        operation_key,
        lag(month_order) over same_child as order_before,
        lag(operation_key) over same_child as operation_before
    from episode
    where patient_key is not null
    window same_child as (partition by patient_key, site, placed_month order by month_order)
)

select site, 'episode' as record, episode_id as record_key
from placed
where
    month_order = order_before + 1
    and coalesce(operation_key <> operation_before, true)
