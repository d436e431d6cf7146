-- measure:     family_calls
-- title:       Calls by families
-- kind:        balancing
-- numerator:   contacts that the family started
-- denominator: catheter-days from placement to removal
-- leaves_out:  catheters of unknown dwell, and months of a site that sent no contacts at all
-- unit:        per catheter-day
-- better:      neither
-- target:      none
-- chart:       u
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       26
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_dwell.episode_id,
        contact_summary.family_calls as numerator,
        episode_dwell.catheter_days as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
