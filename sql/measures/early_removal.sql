-- measure:     early_removal
-- title:       Catheters removed early
-- kind:        outcome
-- numerator:   catheters removed for any reason other than completed, more than 6 h before the planned end
-- denominator: catheters whose reason of removal is known
-- leaves_out:  catheters with no known removal, or removed without a recorded reason
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       8
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        -- A late removal without a reason was not early either, but counting only those
        -- of the unknown that cannot have been early would flatter the rate.
        case
            when is_early then 1
            when not is_early then 0
        end as numerator,
        1 as denominator
    from episode_dwell
)

select * from final
