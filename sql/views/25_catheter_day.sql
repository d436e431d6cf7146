-- One row a catheter-day at home: a day of 24 h since placement of which at least
-- half was spent at home with the catheter in place. Days past the 15th are not listed:
-- a removal later than 14 days is set aside at loading.
create or replace view catheter_day as
with day as (
    select day_number
    from (
        values (1), (2), (3), (4), (5), (6), (7), (8), (9), (10), (11), (12), (13), (14), (15)
    ) as days (day_number)
),

home_day as (
    select
        episode_dwell.episode_id,
        episode_dwell.site,
        episode_dwell.placed_month,
        day.day_number,
        greatest(24 * (day.day_number - 1), episode_dwell.discharged_h) as from_h,
        least(24 * day.day_number, episode_dwell.dwell_h) as until_h
    from episode_dwell
    inner join day
        on day.day_number between episode_dwell.first_home_day and episode_dwell.last_home_day
),

contact_day as (
    select
        episode_id,
        day_number,
        count(*) as contacts,
        count(case when reached then 1 end) as contacts_reached,
        count(case when direction = 'family' then 1 end) as family_calls
    from contact_finding
    where home_day is not null
    group by episode_id, day_number
),

final as (
    select
        home_day.episode_id,
        home_day.site,
        home_day.placed_month,
        home_day.day_number,
        home_day.from_h,
        home_day.until_h,
        home_day.until_h - home_day.from_h as home_h,
        coalesce(contact_day.contacts, 0) as contacts,
        coalesce(contact_day.family_calls, 0) as family_calls,
        coalesce(contact_day.contacts_reached, 0) > 0 as is_reached
    from home_day
    left join contact_day
        on
            home_day.episode_id = contact_day.episode_id
            and home_day.day_number = contact_day.day_number
)

select * from final;

comment on view catheter_day is 'One row a catheter-day at home: 24 h since placement of which at least 12 h were at home with the catheter in place.';
comment on column catheter_day.episode_id is 'Opaque key of the episode.';
comment on column catheter_day.site is 'Code of the site.';
comment on column catheter_day.placed_month is 'Calendar month of placement, YYYY-MM.';
comment on column catheter_day.day_number is 'Day since placement: 1 for hours 0 to 24.';
comment on column catheter_day.from_h is 'Start of the time at home on that day, hours since placement.';
comment on column catheter_day.until_h is 'End of the time in place on that day, hours since placement.';
comment on column catheter_day.home_h is 'Hours at home with the catheter in place on that day.';
comment on column catheter_day.contacts is 'Contacts on that day after going home, reached or not, whoever started them.';
comment on column catheter_day.family_calls is 'Contacts of that day that the family started.';
comment on column catheter_day.is_reached is 'At least one contact of that day reached the family.';
