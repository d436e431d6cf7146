-- measure:     daily_contact
-- title:       Daily contact at home
-- kind:        process
-- numerator:   catheter-days at home with a contact that reached the family
-- denominator: catheter-days at home: days of 24 h since placement of which at least 12 h were at home with the catheter in place
-- leaves_out:  catheters of unknown dwell or discharge, and months of a site that sent no contacts at all
-- unit:        per 100 catheter-days
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       19
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        home_days_reached as numerator,
        home_days as denominator
    from contact_summary
)

select * from final
