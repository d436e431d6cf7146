-- measure:     rebound_pain
-- title:       Severe pain in the 24 h after removal
-- kind:        balancing
-- numerator:   catheters with a worst score of 7 or more in the 24 h after removal
-- denominator: catheters removed
-- leaves_out:  catheters with no known removal, or no score
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       16
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when not is_removed then null
            when rebound_pain_score >= 7 then 1
            when rebound_pain_score < 7 then 0
        end as numerator,
        case when is_removed then 1 else 0 end as denominator
    from episode_dwell
)

select * from final
