-- measure:     difficult_removal
-- title:       Difficult removals
-- kind:        outcome
-- numerator:   catheters removed with resistance or sharp pain; a retained fragment is a serious event and counted there
-- denominator: catheters removed
-- leaves_out:  catheters with no known removal, or whose removal was not described
-- unit:        per 1,000 catheters
-- better:      lower
-- target:      none
-- chart:       g
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       14
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when not is_removed then null
            when removal_difficulty in ('resistance', 'sharp_pain') then 1
            when removal_difficulty in ('none', 'retained_fragment') then 0
        end as numerator,
        case when is_removed then 1 else 0 end as denominator
    from episode_dwell
)

select * from final
