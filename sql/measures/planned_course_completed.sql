-- measure:     planned_course_completed
-- title:       Planned course completed
-- kind:        outcome
-- numerator:   catheters still in place at the planned end, or removed as completed no more than 6 h before it
-- denominator: catheters
-- leaves_out:  catheters last known in place before the planned end with no known removal, or of unknown dwell
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
with final as (
    select
        episode_id,
        -- A family that ends the planned course some hours before its last hour has
        -- completed it: the same 6 h of grace as in early_removal.
        case
            when dwell_h >= planned_dwell_h then 1
            when reason = 'completed' and dwell_h >= planned_dwell_h - 6 then 1
            when is_removed then 0
        end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
