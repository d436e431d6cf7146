-- title: Are falls told more often where the limb is weak?
-- read:  Lower limbs only; contacts that asked about both. A fall and a weak limb told at the
--        same contact says nothing about which came first.
select
    contact_finding.limb_weakness,
    count(*) as contacts,
    count(case when contact_finding.fell then 1 end) as falls,
    round(1000.0 * count(case when contact_finding.fell then 1 end) / count(*), 1)
        as falls_per_1000_contacts
from contact_finding
inner join episode_dwell on contact_finding.episode_id = episode_dwell.episode_id
where
    episode_dwell.limb = 'lower'
    and contact_finding.fell is not null
    and contact_finding.limb_weakness is not null
group by contact_finding.limb_weakness
order by contact_finding.limb_weakness
