-- measure:     serious_events
-- title:       Serious events
-- kind:        outcome
-- numerator:   catheters with a serious event recorded, or told of by a contact (emergency symptom, lasting nerve symptom), a visit (readmission) or the removal (retained fragment)
-- denominator: catheters
-- leaves_out:  nothing: an event that nobody recorded or told of counts as none
-- unit:        per 1,000 catheters
-- better:      lower
-- target:      none
-- chart:       g
-- follow_up_h: 240
-- reads:       episode_dwell, serious_event
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       5
-- safety:      yes
-- told_by:     records
with with_event as (
    select distinct episode_id from serious_event
),

final as (
    select
        episode_dwell.episode_id,
        case when with_event.episode_id is not null then 1 else 0 end as numerator,
        1 as denominator
    from episode_dwell
    left join with_event on episode_dwell.episode_id = with_event.episode_id
)

select * from final
