-- measure:     pump_problem
-- title:       Pump problems
-- kind:        outcome
-- numerator:   catheters whose pump emptied early, ran on, came apart or leaked
-- denominator: catheters
-- leaves_out:  catheters of which it is not recorded whether the pump worked
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       15
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case when pump_problem = 'none' then 0 when pump_problem is not null then 1 end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
