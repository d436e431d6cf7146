-- title: How many opioid doses are reported, by day?
-- read:  Doses reported at contacts of each day since placement, among contacts that asked. A
--        rise after the usual removal day is pain coming back.
-- set:   last_day integer 7 -- last day shown
-- set:   site text all -- code of one site, or all
select
    day_number,
    count(*) as contacts_that_asked,
    count(distinct episode_id) as catheters,
    sum(opioid_doses) as doses,
    round(avg(opioid_doses), 2) as doses_per_contact,
    round(100.0 * avg(case when opioid_doses > 0 then 1 else 0 end), 1) as any_per_100_contacts
from contact_finding
where opioid_doses is not null and day_number <= $last_day and ($site = 'all' or site = $site)
group by day_number
order by day_number
