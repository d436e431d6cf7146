-- measure:     opioid_free
-- title:       No opioid at home
-- kind:        outcome
-- numerator:   catheters with no opioid dose reported
-- denominator: catheters with full reports: a dose count at every planned call that reached the family, the last no earlier than 24 h before the end
-- leaves_out:  catheters without full reports
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       17
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when not is_opioid_report_full then null
            when opioid_doses = 0 then 1
            when opioid_doses > 0 then 0
        end as numerator,
        1 as denominator
    from contact_summary
)

select * from final
