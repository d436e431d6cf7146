-- check:  month_without_episodes
-- title:  Month without a placement at a site that was open
-- reads:  episode, site
-- A month in which the network placed catheters, from the site's first (or its opening)
-- to the network's last; the month stands in the place of a key.
with months as (
    select distinct placed_month from episode
),

opened as (
    select
        episode.site,
        min(coalesce(site.opened_month, episode.placed_month)) as first_month
    from episode
    inner join site on episode.site = site.site
    group by episode.site
),

seen as (
    select distinct site, placed_month from episode
)

select opened.site, 'month' as record, months.placed_month as record_key
from opened
inner join months on opened.first_month <= months.placed_month
left join seen
    on opened.site = seen.site and months.placed_month = seen.placed_month
where seen.site is null
