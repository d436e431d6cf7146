-- title: In which hours after placement do catheters come out by themselves?
-- read:  Per band of hours: catheters still in place at its start, those that came out by
--        themselves in it, and that as a percentage of those at its start. A high first band
--        points at securing, a late one at the dressing wearing off.
-- set:   hours integer 12 -- width of a band
-- set:   site text all -- code of one site, or all
with band as (
    select cast(hour_from as integer) as from_h
    from range(0, 120, $hours) as bands (hour_from)
)

select
    band.from_h,
    band.from_h + $hours as until_h,
    count(*) as in_place,
    count(case
        when episode_dwell.reason = 'dislodged' and episode_dwell.is_removed
            and episode_dwell.dwell_h < band.from_h + $hours then 1
    end) as dislodged,
    round(100.0 * count(case
        when episode_dwell.reason = 'dislodged' and episode_dwell.is_removed
            and episode_dwell.dwell_h < band.from_h + $hours then 1
    end) / count(*), 2) as dislodged_per_100
from band
inner join episode_dwell on episode_dwell.dwell_h >= band.from_h
where $site = 'all' or episode_dwell.site = $site
group by band.from_h
order by band.from_h
