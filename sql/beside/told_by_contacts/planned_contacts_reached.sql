-- measure:     planned_contacts_reached
-- title:       Planned contacts that reached the family
-- kind:        process
-- numerator:   contacts that the service started and that reached the family
-- denominator: contacts that the service started
-- leaves_out:  catheters without one
-- unit:        per 100 contacts
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       0
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        planned_contacts_reached as numerator,
        planned_contacts as denominator
    from contact_summary
)

select * from final
