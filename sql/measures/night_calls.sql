-- measure:     night_calls
-- title:       Calls by families at night
-- kind:        balancing
-- numerator:   contacts that the family started from 22:00 to 06:00
-- denominator: catheter-days from placement to removal
-- leaves_out:  catheters with calls but without the clock hour of placement, of unknown dwell, and months of a site that sent no contacts at all
-- unit:        per catheter-day
-- better:      neither
-- target:      none
-- chart:       u
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       27
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_dwell.episode_id,
        contact_summary.night_calls as numerator,
        episode_dwell.catheter_days as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
