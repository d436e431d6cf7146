-- title: How often is large leakage followed by dislodgement within some hours?
-- read:  Among catheters with large leakage reported while in place: those that came out by
--        themselves within the hours given. Compare with the catheters of which leakage was asked
--        and none was large.
-- set:   hours number 12 -- hours after the first report
with leaked as (
    select episode_id, min(case when is_large_leakage then at_h end) as leaked_at_h
    from contact_finding
    where is_large_leakage is not null
    group by episode_id
)

select
    leaked.leaked_at_h is not null as large_leakage,
    count(*) as catheters,
    count(case
        when episode_dwell.reason = 'dislodged'
            and episode_dwell.dwell_h >= leaked.leaked_at_h
            and episode_dwell.dwell_h <= leaked.leaked_at_h + $hours then 1
    end) as dislodged_within,
    count(case when episode_dwell.reason = 'dislodged' then 1 end) as dislodged_ever,
    round(100.0 * count(case when episode_dwell.reason = 'dislodged' then 1 end) / count(*), 1)
        as dislodged_ever_per_100
from leaked
inner join episode_dwell on leaked.episode_id = episode_dwell.episode_id
where
    episode_dwell.reason <> 'not_recorded'
    and (leaked.leaked_at_h is null or leaked.leaked_at_h <= episode_dwell.dwell_h)
group by leaked.leaked_at_h is not null
order by large_leakage
