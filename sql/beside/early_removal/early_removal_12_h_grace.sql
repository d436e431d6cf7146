-- measure:     early_removal_12_h_grace
-- title:       Removed early, with 12 h of grace
-- kind:        outcome
-- numerator:   catheters removed for any reason other than completed, more than 12 h before the planned end
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
            when dwell_h >= planned_dwell_h - 12 then 0
            when is_removed then 1
        end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
