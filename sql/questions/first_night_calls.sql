-- title: How many families call in the first night, and about what?
-- read:  Calls from 22:00 to 06:00 before the first morning, by topic; per 100 catheters is over
--        all catheters whose clock hour of placement is known.
-- set:   site text all -- code of one site, or all
with catheters as (
    select count(*) as n
    from episode_dwell
    where placed_hour is not null and ($site = 'all' or site = $site)
)

select
    contact_finding.topic,
    count(*) as calls,
    round(100.0 * count(*) / max(catheters.n), 2) as calls_per_100_catheters,
    round(median(contact_finding.minutes_to_answer), 1) as median_minutes_to_answer
from contact_finding
cross join catheters
where
    contact_finding.direction = 'family'
    and contact_finding.is_night
    and contact_finding.is_before_first_night_end
    and ($site = 'all' or contact_finding.site = $site)
group by contact_finding.topic
order by calls desc, contact_finding.topic
