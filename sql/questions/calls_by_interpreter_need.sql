-- title: Do families who need an interpreter call less, and are they reached?
-- read:  Fewer calls with fewer contacts reached is a barrier, not a better course.
select
    episode_dwell.interpreter_needed,
    count(*) as catheters,
    round(avg(contact_summary.family_calls), 2) as family_calls_per_catheter,
    round(100.0 * sum(contact_summary.home_days_reached) / sum(contact_summary.home_days), 1)
        as days_reached_per_100,
    round(100.0 * avg(case when episode_dwell.is_early then 1 when not episode_dwell.is_early then 0 end), 1)
        as early_per_100
from episode_dwell
inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
where contact_summary.has_contact_log
group by episode_dwell.interpreter_needed
order by episode_dwell.interpreter_needed
