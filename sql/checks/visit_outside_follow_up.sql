-- check:  visit_outside_follow_up
-- title:  Visit later than the end of follow-up
-- reads:  visit, episode
select episode.site, 'visit' as record, visit.visit_id as record_key
from visit
inner join episode on visit.episode_id = episode.episode_id
where visit.at_h > episode.followed_until_h
