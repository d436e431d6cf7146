-- measure:     satisfaction
-- title:       Families who give 8 or more of 10
-- kind:        outcome
-- numerator:   catheters whose family gives 8 or more of 10 for satisfaction
-- denominator: catheters
-- leaves_out:  catheters whose family was not asked
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       18
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case when satisfaction_score >= 8 then 1 when satisfaction_score < 8 then 0 end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
