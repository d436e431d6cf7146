-- measure:     lasting_nerve_symptoms
-- title:       Lasting nerve symptoms
-- kind:        outcome
-- numerator:   catheters with numbness, weakness or pain beyond the expected time, told at a follow-up contact
-- denominator: catheters followed up after the block
-- leaves_out:  catheters with no follow-up contact, or none that reached the family and asked
-- unit:        per 1,000 catheters
-- better:      lower
-- target:      none
-- chart:       g
-- follow_up_h: 504
-- reads:       followed_up, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       7
-- safety:      yes
-- told_by:     records
with final as (
    select
        contact_summary.episode_id,
        case
            when contact_summary.lasting_symptom_contacts > 0 then 1
            when contact_summary.lasting_symptom_contacts = 0 then 0
        end as numerator,
        case when followed_up.episode_id is not null then 1 else 0 end as denominator
    from contact_summary
    left join followed_up on contact_summary.episode_id = followed_up.episode_id
)

select * from final
