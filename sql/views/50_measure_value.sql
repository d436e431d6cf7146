-- One row a measure and episode. A rate is the sum of the numerators over the sum of
-- the denominators of the rows that have a numerator.
create or replace view measure_value as
with every_measure as (
    /* one select a file of sql/measures, united */
),

final as (
    select
        measure,
        episode_id,
        case when denominator > 0 then numerator end as numerator,
        denominator,
        denominator > 0 and numerator is not null as is_ascertained
    from every_measure
    where denominator is null or denominator > 0
)

select * from final;

comment on view measure_value is 'One row a measure and episode that the measure applies to. A rate is the sum of numerators over the sum of denominators where is_ascertained.';
comment on column measure_value.measure is 'Name of the measure.';
comment on column measure_value.episode_id is 'Opaque key of the episode.';
comment on column measure_value.numerator is 'Events of the episode; null where they could not be ascertained, which is not zero.';
comment on column measure_value.denominator is 'What they are counted against: catheters, catheter-days, removals or calls; null where not known.';
comment on column measure_value.is_ascertained is 'Both are known; only these rows make a rate.';
