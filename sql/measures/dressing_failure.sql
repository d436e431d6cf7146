-- measure:     dressing_failure
-- title:       Dressing failure
-- kind:        outcome
-- numerator:   catheters whose skin entry was uncovered or soiled, or that were removed for it
-- denominator: catheters
-- leaves_out:  catheters with no contact that reached the family and asked about the dressing, unless removed for it
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       13
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_dwell.episode_id,
        case
            when
                contact_summary.exposed_contacts > 0
                or episode_dwell.reason = 'dressing_failure' then 1
            when contact_summary.exposed_contacts = 0 then 0
        end as numerator,
        1 as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
