-- measure:     dislodgement
-- title:       Dislodged catheters
-- kind:        outcome
-- numerator:   catheters removed because they came out or were pulled out
-- denominator: catheters whose reason of removal is known
-- leaves_out:  catheters with no known removal, or removed without a recorded reason
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       1
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when reason = 'dislodged' then 1
            when reason <> 'not_recorded' then 0
        end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
