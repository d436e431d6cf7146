-- measure:     removal_time_recorded
-- title:       Removal time recorded by the family
-- kind:        process
-- numerator:   removals at home whose exact time comes from the family's own record
-- denominator: removals at home
-- leaves_out:  removals in hospital or by a clinician, catheters with no known removal, and exact times of unknown source
-- unit:        per 100 removals
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       22
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when is_removed_at_home is null or not is_removed_at_home then null
            when removal_time_source = 'family_record' and dwell_basis = 'exact' then 1
            when removal_time_source is not null or dwell_basis = 'interval' then 0
        end as numerator,
        case
            when is_removed_at_home then 1
            when not is_removed_at_home or not is_removed then 0
        end as denominator
    from episode_dwell
)

select * from final
