-- measure:     expected_effects
-- title:       Hoarse voice or drooping lid (expected effects of some blocks)
-- kind:        outcome
-- numerator:   catheters with a hoarse voice or a drooping lid told at any contact
-- denominator: catheters
-- leaves_out:  catheters with no contact that reached the family and asked about them
-- unit:        per 1,000 catheters
-- better:      neither
-- target:      none
-- chart:       g
-- follow_up_h: 96
-- reads:       contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       0
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when expected_effect_contacts > 0 then 1
            when expected_effect_contacts = 0 then 0
        end as numerator,
        1 as denominator
    from contact_summary
)

select * from final
