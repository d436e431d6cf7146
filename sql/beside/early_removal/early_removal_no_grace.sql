-- measure:     early_removal_no_grace
-- title:       Removed early, with no grace
-- kind:        outcome
-- numerator:   catheters removed for any reason other than completed, at any time before the planned end
-- denominator: catheters whose reason of removal is known
-- leaves_out:  catheters with no known removal, or removed without a recorded reason
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       0
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when reason = 'completed' then 0
            when reason is null or reason = 'not_recorded' then null
            when dwell_h >= planned_dwell_h then 0
            when is_removed then 1
        end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
