-- check:  month_order_gap
-- title:  Placements missing within a month, by their order
-- reads:  episode
-- The episode after each gap is named; a row set aside leaves a gap too.
with placed as (
    select
        site,
        episode_id,
        month_order,
        lag(month_order, 1, 0) over (partition by site, placed_month order by month_order)
            as order_before
    from episode
)

select site, 'episode' as record, episode_id as record_key
from placed
where month_order > order_before + 1
