-- title: At which hours of the day do families call?
-- read:  Calls by clock hour and how fast they are answered: where the line needs a second
--        person.
-- set:   site text all -- code of one site, or all
select
    cast(floor(clock_hour) as integer) as clock_hour,
    count(*) as calls,
    round(100.0 * count(*) / sum(count(*)) over (), 1) as percent_of_calls,
    round(100.0 * avg(case when not reached then 1 else 0 end), 1) as never_answered_per_100,
    round(median(minutes_to_answer), 1) as median_minutes,
    round(quantile_cont(minutes_to_answer, 0.9), 1) as slowest_tenth_minutes
from contact_finding
where direction = 'family' and clock_hour is not null and ($site = 'all' or site = $site)
group by floor(contact_finding.clock_hour)
order by floor(contact_finding.clock_hour)
