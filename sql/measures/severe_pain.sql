-- measure:     severe_pain
-- title:       Severe pain after the first night
-- kind:        outcome
-- numerator:   catheters with any pain score of 7 or more given after the first night
-- denominator: catheters with a pain score given after the first night
-- leaves_out:  catheters with no pain score after the first night (the first 06:00 after placement, or 24 h where the clock hour is not known)
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       9
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when worst_pain_after_first_night >= 7 then 1
            when worst_pain_after_first_night < 7 then 0
        end as numerator,
        1 as denominator
    from contact_summary
)

select * from final
