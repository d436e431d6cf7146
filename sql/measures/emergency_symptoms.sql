-- measure:     emergency_symptoms
-- title:       Emergency symptoms
-- kind:        outcome
-- numerator:   catheters with any symptom of the tier emergency told at any contact: {emergency_symptoms}; shortness of breath counts whatever the block
-- denominator: catheters
-- leaves_out:  catheters with no contact that reached the family and asked about any symptom, unless out before any contact was tried
-- unit:        per 1,000 catheters
-- better:      lower
-- target:      none
-- chart:       g
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary, contact_symptom, symptom_tier
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       6
-- safety:      yes
-- told_by:     contacts
with emergency as (
    select distinct contact_symptom.episode_id
    from contact_symptom
    inner join symptom_tier on contact_symptom.symptom = symptom_tier.symptom
    where symptom_tier.tier = 'emergency'
),

final as (
    select
        episode_dwell.episode_id,
        case
            when emergency.episode_id is not null then 1
            when contact_summary.toxicity_contacts is not null then 0
            when contact_summary.is_out_before_first_contact then 0
        end as numerator,
        1 as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
    left join emergency on episode_dwell.episode_id = emergency.episode_id
)

select * from final
