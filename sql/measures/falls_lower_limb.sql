-- measure:     falls_lower_limb
-- title:       Falls with a lower-limb catheter
-- kind:        outcome
-- numerator:   contacts that report a fall
-- denominator: catheter-days of lower-limb catheters from placement to removal
-- leaves_out:  catheters of other limbs, with no contact that reached the family and asked about falls, or of unknown dwell
-- unit:        per 1,000 catheter-days
-- better:      lower
-- target:      none
-- chart:       t
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, nerve_target, planned_dwell_h
with final as (
    select
        episode_dwell.episode_id,
        case when episode_dwell.limb = 'lower' then contact_summary.falls end as numerator,
        case
            when episode_dwell.limb = 'lower' then episode_dwell.catheter_days
            else 0
        end as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
