-- check:  contact_after_removal
-- title:  Contact that speaks of the catheter after its removal
-- reads:  contact, episode
-- A call after the removal is usual; a report on the dressing, on fluid at the skin
-- entry or of a removal is not.
select episode.site, 'contact' as record, contact.contact_id as record_key
from contact
inner join episode on contact.episode_id = episode.episode_id
where
    contact.at_h > coalesce(episode.removed_h, episode.removed_before_h)
    and (
        contact.leakage is not null
        or contact.dressing is not null
        or contact.topic = 'removal'
        or contact.outcome = 'catheter_removed'
    )
