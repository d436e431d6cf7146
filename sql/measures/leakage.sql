-- measure:     leakage
-- title:       Large leakage at the skin entry
-- kind:        outcome
-- numerator:   contacts with large leakage; small amounts are usual and not counted
-- denominator: catheter-days from placement to removal
-- leaves_out:  catheters with no contact that reached the family and asked about leakage, or of unknown dwell
-- unit:        per 100 catheter-days
-- better:      lower
-- target:      none
-- chart:       u
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
with final as (
    select
        episode_dwell.episode_id,
        contact_summary.large_leakage_contacts as numerator,
        episode_dwell.catheter_days as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
