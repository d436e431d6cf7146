-- measure:     removed_by_day
-- title:       Planned removals done before {removal_by_hour}:00
-- kind:        process
-- numerator:   completed removals at home done from 06:00 and before {removal_by_hour}:00
-- denominator: completed removals at home of which the clock hour is known
-- leaves_out:  removals for another reason, in hospital or by a clinician, and those known only as an interval or without the clock hour of placement
-- unit:        per 100 removals
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 96
-- reads:       episode_dwell, setting
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       21
-- safety:      no
-- told_by:     records
with limits as (
    select value as by_hour
    from setting
    where name = 'removal_by_hour'
),

final as (
    select
        episode_dwell.episode_id,
        case
            when not coalesce(episode_dwell.is_removed_at_home, false) then null
            when episode_dwell.reason <> 'completed' then null
            when episode_dwell.removal_clock_hour is null then null
            when
                episode_dwell.removal_clock_hour >= 6
                and episode_dwell.removal_clock_hour < limits.by_hour then 1
            else 0
        end as numerator,
        case
            when not episode_dwell.is_removed or not episode_dwell.is_removed_at_home then 0
            when episode_dwell.reason not in ('completed', 'not_recorded') then 0
            when episode_dwell.is_removed_at_home and episode_dwell.reason = 'completed' then 1
        end as denominator
    from episode_dwell
    cross join limits
)

select * from final
