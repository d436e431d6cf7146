-- measure:     answered_in_15_min
-- title:       Family calls answered within 15 minutes
-- kind:        process
-- numerator:   contacts that the family started and that were answered within 15 minutes
-- denominator: contacts that the family started; one that was never answered counts
-- leaves_out:  answered calls without a recorded time to answer, catheters without calls, and months of a site that sent no contacts at all
-- unit:        per 100 calls
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       contact_summary
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
with final as (
    select
        episode_id,
        case
            when timed_calls > 0 then calls_answered_in_15_min
        end as numerator,
        -- Where no call of the catheter was timed, its calls stay in sight as missing.
        case
            when timed_calls > 0 then timed_calls
            else family_calls
        end as denominator
    from contact_summary
)

select * from final
