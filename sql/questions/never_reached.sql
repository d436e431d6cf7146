-- title: Which children were never reached at home?
-- read:  Counts of catheters by how often the family was reached, at each site. Those never
--        reached have no known leakage, pain or symptom: they are missing, not well.
select
    episode_dwell.site_label,
    count(*) as catheters,
    count(case when contact_summary.home_days_reached = 0 then 1 end) as never_reached,
    count(case when contact_summary.home_days_reached = 1 then 1 end) as reached_on_one_day,
    round(100.0 * count(case when contact_summary.home_days_reached = 0 then 1 end) / count(*), 1)
        as never_reached_per_100
from episode_dwell
inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
where contact_summary.home_days > 0 and contact_summary.home_days_reached is not null
group by episode_dwell.site_label
order by never_reached_per_100 desc, episode_dwell.site_label
