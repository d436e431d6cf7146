-- measure:     planned_over_72_h
-- title:       Planned for over 72 h
-- kind:        outcome
-- numerator:   those still in place at the planned end, or removed as completed no more than 6 h before it
-- denominator: catheters planned for over 72 h
-- leaves_out:  catheters last known in place before the planned end with no known removal, or of unknown dwell
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell, contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       0
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_dwell.episode_id,
        -- A family that ends the planned course some hours before its last hour has
        -- completed it: the same 6 h of grace as in early_removal.
        case
            when episode_dwell.reason = 'toxicity_symptoms' then 0
            when episode_dwell.is_removed and contact_summary.removals_for_symptoms > 0 then 0
            when episode_dwell.dwell_h >= episode_dwell.planned_dwell_h then 1
            when
                episode_dwell.reason = 'completed'
                and episode_dwell.dwell_h >= episode_dwell.planned_dwell_h - 6 then 1
            when episode_dwell.is_removed then 0
        end as numerator,
        case when episode_dwell.planned_course = 'over 72 h' then 1 else 0 end as denominator
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
)

select * from final
