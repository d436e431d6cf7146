-- check:  change_at_unknown_site
-- title:  Logged change at a site that is not listed
-- reads:  change, site
with named as (
    select change_id, trim(unnest(string_split(sites, ';'))) as site
    from change
)

select named.site, 'change' as record, named.change_id as record_key
from named
left join site on named.site = site.site
where site.site is null and named.site <> 'all'
