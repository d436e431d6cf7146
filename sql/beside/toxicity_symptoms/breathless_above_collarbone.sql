-- measure:     breathless_above_collarbone
-- title:       Shortness of breath with a block above the collarbone (an expected effect, and an emergency all the same)
-- kind:        outcome
-- numerator:   catheters above the collarbone with shortness of breath told at any contact
-- denominator: interscalene and supraclavicular catheters
-- leaves_out:  other catheters, and those with no contact that reached the family and asked about any symptom
-- unit:        per 1,000 catheters
-- better:      neither
-- target:      none
-- chart:       g
-- follow_up_h: 96
-- reads:       episode_dwell, contact_finding
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       0
-- safety:      no
-- told_by:     records
with told as (
    select
        episode_id,
        max(case when is_breathless_above_collarbone then 1 else 0 end) as is_told
    from contact_finding
    where is_breathless_above_collarbone is not null
    group by episode_id
),

final as (
    select
        episode_dwell.episode_id,
        told.is_told as numerator,
        case
            when episode_dwell.nerve_target in ('interscalene', 'supraclavicular') then 1
            else 0
        end as denominator
    from episode_dwell
    left join told on episode_dwell.episode_id = told.episode_id
)

select * from final
