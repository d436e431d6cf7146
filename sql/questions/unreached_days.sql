-- title: On which days at home is nobody reached?
-- read:  Days at home by day number and site; the last day before the removal is the one most
--        often missed.
-- set:   site text all -- code of one site, or all
select
    catheter_day.site,
    catheter_day.day_number,
    count(*) as catheter_days,
    count(case when not catheter_day.is_reached then 1 end) as not_reached,
    round(100.0 * count(case when not catheter_day.is_reached then 1 end) / count(*), 1)
        as not_reached_per_100
from catheter_day
where $site = 'all' or catheter_day.site = $site
group by catheter_day.site, catheter_day.day_number
order by catheter_day.site, catheter_day.day_number
