-- title: At which hours of the day are completed catheters removed?
-- read:  Removals at home as completed, by clock hour, of those with an exact time. Removals late
--        in the day leave the night for what goes wrong.
select
    cast(floor(removal_clock_hour) as integer) as clock_hour,
    count(*) as removals,
    round(100.0 * count(*) / sum(count(*)) over (), 1) as percent_of_removals
from episode_dwell
where is_removed_at_home and reason = 'completed' and removal_clock_hour is not null
group by floor(removal_clock_hour)
order by clock_hour
