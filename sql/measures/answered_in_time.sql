-- measure:     answered_in_time
-- title:       Calls answered within {answer_minutes} minutes
-- kind:        process
-- numerator:   contacts that the family started and that were answered within {answer_minutes} minutes
-- denominator: contacts that the family started; one that was never answered counts
-- leaves_out:  answered calls without a recorded time to answer, catheters without calls, and months of a site that sent no contacts at all
-- unit:        per 100 calls
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       contact, contact_summary, setting
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       20
-- safety:      no
-- told_by:     records
with in_time as (
    select contact.episode_id, count(*) as calls
    from contact
    cross join setting
    where
        setting.name = 'answer_minutes'
        and contact.direction = 'family'
        and contact.reached
        and contact.minutes_to_answer <= setting.value
        and coalesce(contact.contact_kind, 'course') = 'course'
    group by contact.episode_id
),

final as (
    select
        contact_summary.episode_id,
        case
            when contact_summary.timed_calls > 0 then coalesce(in_time.calls, 0)
        end as numerator,
        -- Where no call of the catheter was timed, its calls stay in sight as missing.
        case
            when contact_summary.timed_calls > 0 then contact_summary.timed_calls
            else contact_summary.family_calls
        end as denominator
    from contact_summary
    left join in_time on contact_summary.episode_id = in_time.episode_id
)

select * from final
