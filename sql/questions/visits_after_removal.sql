-- title: How many unplanned visits come within some hours of the removal?
-- read:  Visits for the catheter or for pain, before the removal and in the hours after it. Many
--        after it point at pain returning once the block is gone.
-- set:   hours number 24 -- hours after the removal that count as soon
select
    visit.kind,
    visit.relation,
    count(case when visit.at_h < episode_dwell.dwell_h then 1 end) as before_removal,
    count(case
        when visit.at_h >= episode_dwell.dwell_h
            and visit.at_h < episode_dwell.dwell_h + $hours then 1
    end) as soon_after_removal,
    count(case when visit.at_h >= episode_dwell.dwell_h + $hours then 1 end) as later
from visit
inner join episode_dwell on visit.episode_id = episode_dwell.episode_id
where episode_dwell.is_removed and visit.relation in ('catheter', 'pain')
group by visit.kind, visit.relation
order by visit.kind, visit.relation
