-- One row a measure and month of placement: counts, never rates.
create or replace view measure_month as
with final as (
    select
        measure_value.measure,
        episode_dwell.placed_month,
        -- Sums of decimals do not depend on the order of the rows, sums of doubles do.
        cast(coalesce(sum(case
            when is_ascertained then cast(measure_value.numerator as bigint)
        end), 0) as bigint) as numerator,
        round(cast(coalesce(sum(case
            when is_ascertained then cast(measure_value.denominator as decimal(18, 12))
        end), 0) as double), 6) as denominator,
        count(*) as episodes,
        count(case when is_ascertained then 1 end) as ascertained
    from measure_value
    inner join episode_dwell on measure_value.episode_id = episode_dwell.episode_id
    group by measure_value.measure, episode_dwell.placed_month
)

select * from final;

comment on view measure_month is 'One row a measure and month of placement, over all sites.';
comment on column measure_month.measure is 'Name of the measure.';
comment on column measure_month.placed_month is 'Calendar month of placement, YYYY-MM.';
comment on column measure_month.numerator is 'Events of the episodes whose numerator is known.';
comment on column measure_month.denominator is 'Their denominators: catheters, catheter-days, removals or calls.';
comment on column measure_month.episodes is 'Episodes that the measure applies to.';
comment on column measure_month.ascertained is 'Those of them whose numerator is known.';
