-- check:  removal_before_last_known_in_place
-- title:  Removal earlier than the last time known in place
-- reads:  episode
select site, 'episode' as record, episode_id as record_key
from episode
where coalesce(removed_h, removed_before_h) < last_known_in_place_h
