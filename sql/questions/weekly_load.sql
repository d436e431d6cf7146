-- title: How many children are at home with a catheter, on an average day?
-- read:  Catheter-days at home in a month by its days: what the daily calls must cover. Days
--        count in the month of placement.
-- set:   site text all -- code of one site, or all
select
    placed_month,
    count(*) as catheters,
    round(sum(home_catheter_days), 1) as home_catheter_days,
    round(sum(home_catheter_days) / 30.4, 1) as at_home_on_an_average_day,
    count(distinct site) as sites
from episode_dwell
where home_catheter_days is not null and ($site = 'all' or site = $site)
group by placed_month
order by placed_month
