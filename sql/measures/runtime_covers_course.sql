-- measure:     runtime_covers_course
-- title:       Pump volume covers the planned course
-- kind:        process
-- numerator:   catheters whose filled volume by the flow rate lasts at least the planned dwell
-- denominator: catheters with both a filled volume and a flow rate
-- leaves_out:  catheters without one of these, or with a flow rate of zero
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 0
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       23
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when runtime_h >= planned_dwell_h - 0.000001 then 1
            when runtime_h < planned_dwell_h - 0.000001 then 0
        end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
