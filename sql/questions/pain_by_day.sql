-- title: How does pain run from day to day, by limb?
-- read:  Worst scores told at contacts that reached the family; not every family is asked every
--        day.
-- set:   severe integer 7 -- a score from here on is severe
select
    episode_dwell.limb,
    contact_finding.day_number,
    count(*) as scores,
    median(contact_finding.pain_score) as median_score,
    round(100.0 * avg(case when contact_finding.pain_score >= $severe then 1 else 0 end), 1)
        as severe_per_100
from contact_finding
inner join episode_dwell on contact_finding.episode_id = episode_dwell.episode_id
where contact_finding.pain_score is not null and contact_finding.day_number <= 7
group by episode_dwell.limb, contact_finding.day_number
order by episode_dwell.limb, contact_finding.day_number
