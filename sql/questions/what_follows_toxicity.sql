-- title: What happens after a contact with an urgent or emergency symptom?
-- read:  Outcomes of those contacts, and whether the catheter was out within the hours given.
--        Emergency symptoms that end in reassurance deserve a look at the record.
-- set:   hours number 6 -- hours after the contact
select
    contact_tier.tier,
    coalesce(contact_tier.outcome, 'not_recorded') as outcome,
    count(*) as contacts,
    count(case
        when episode_dwell.is_removed and episode_dwell.dwell_h <= contact_tier.at_h + $hours then 1
    end) as out_within
from contact_tier
inner join episode_dwell on contact_tier.episode_id = episode_dwell.episode_id
where contact_tier.tier in ('emergency', 'urgent')
group by contact_tier.tier, contact_tier.outcome
order by contact_tier.tier, contacts desc, outcome
