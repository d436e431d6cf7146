-- measure:     falls_lower_limb
-- title:       Falls with a lower-limb catheter
-- kind:        outcome
-- numerator:   lower-limb catheters with a fall told at any contact; each counts once
-- denominator: lower-limb catheters
-- leaves_out:  catheters of other limbs, and those with no contact that reached the family and asked about falls, unless out before any contact was tried
-- unit:        per 1,000 catheters
-- better:      lower
-- target:      none
-- chart:       g
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, nerve_target, planned_dwell_h
-- place:       11
-- safety:      no
-- told_by:     contacts
with final as (
    select
        episode_dwell.episode_id,
        case
            when episode_dwell.limb is null or episode_dwell.limb <> 'lower' then null
            when contact_summary.falls > 0 then 1
            when contact_summary.falls = 0 then 0
            when contact_summary.is_out_before_first_contact then 0
        end as numerator,
        case when episode_dwell.limb = 'lower' then 1 else 0 end as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
