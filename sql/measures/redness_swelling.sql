-- measure:     redness_swelling
-- title:       Redness or swelling at the skin entry
-- kind:        outcome
-- numerator:   catheters with redness or swelling at the skin entry told at any contact, or removed for it; each counts once
-- denominator: catheter-days from placement to removal
-- leaves_out:  catheters with no contact that reached the family and asked about redness or swelling, unless removed for it, or of unknown dwell
-- unit:        per 1,000 catheter-days
-- better:      lower
-- target:      none
-- chart:       t
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       12
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_dwell.episode_id,
        -- Redness that lasts is told again at the next contact, so a catheter counts once.
        case
            when
                contact_summary.redness_contacts > 0
                or episode_dwell.reason = 'infection_signs' then 1
            when contact_summary.redness_contacts = 0 then 0
        end as numerator,
        episode_dwell.catheter_days as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
