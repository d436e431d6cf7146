-- measure:     leakage
-- title:       Large leakage at the skin entry
-- kind:        outcome
-- numerator:   catheters with large leakage told at any contact, or removed for it; small amounts are usual and not counted
-- denominator: catheters
-- leaves_out:  catheters with no contact that reached the family and asked about leakage, unless removed for it, or out before any contact was tried
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       2
-- safety:      no
-- told_by:     contacts
with final as (
    select
        episode_dwell.episode_id,
        case
            when contact_summary.large_leakage_contacts > 0 or episode_dwell.reason = 'leakage' then 1
            when contact_summary.large_leakage_contacts = 0 then 0
            when contact_summary.is_out_before_first_contact then 0
        end as numerator,
        1 as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
