-- title: Why do catheters come out, at each site?
-- read:  Reasons in percent of the catheters whose reason is known; time is not allowed for, so
--        read `dwell removal --by site` before comparing sites.
select
    site_label,
    count(*) as catheters,
    round(100.0 * count(case when reason = 'completed' then 1 end) / count(*), 1) as completed,
    round(100.0 * count(case when reason = 'dislodged' then 1 end) / count(*), 1) as dislodged,
    round(100.0 * count(case when reason = 'leakage' then 1 end) / count(*), 1) as leakage,
    round(100.0 * count(case when reason = 'dressing_failure' then 1 end) / count(*), 1) as dressing,
    round(100.0 * count(case when reason = 'inadequate_analgesia' then 1 end) / count(*), 1)
        as inadequate_analgesia,
    round(100.0 * count(case
        when reason not in ('completed', 'dislodged', 'leakage', 'dressing_failure', 'inadequate_analgesia')
            then 1
    end) / count(*), 1) as others
from episode_dwell
where reason <> 'not_recorded'
group by site_label
order by site_label
