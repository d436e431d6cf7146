-- measure:     toxicity_symptoms
-- title:       Symptoms of possible systemic toxicity
-- kind:        outcome
-- numerator:   catheters with any symptom of possible local anaesthetic systemic toxicity told at any contact, or removed for such symptoms
-- denominator: catheters
-- leaves_out:  catheters with no contact that reached the family and asked about any symptom, unless removed for them, or out before any contact was tried; shortness of breath alone with a block above the collarbone, hoarse voice and drooping lid are not counted
-- unit:        per 1,000 catheters
-- better:      lower
-- target:      none
-- chart:       g
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       3
-- safety:      yes
-- told_by:     contacts
with final as (
    select
        episode_dwell.episode_id,
        case
            when
                contact_summary.toxicity_contacts > 0
                or episode_dwell.reason = 'toxicity_symptoms' then 1
            when contact_summary.toxicity_contacts = 0 then 0
            when contact_summary.is_out_before_first_contact then 0
        end as numerator,
        1 as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
