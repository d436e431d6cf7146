-- measure:     toxicity_calls
-- title:       Contacts with a symptom of possible systemic toxicity
-- kind:        outcome
-- numerator:   contacts with any symptom of possible local anaesthetic systemic toxicity
-- denominator: catheter-days from placement to removal
-- leaves_out:  catheters with no contact that reached the family and asked about any symptom, or of unknown dwell
-- unit:        per 1,000 catheter-days
-- better:      lower
-- target:      none
-- chart:       t, g
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
with final as (
    select
        episode_dwell.episode_id,
        contact_summary.toxicity_contacts as numerator,
        episode_dwell.catheter_days as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
