-- What has been released: counts as they first were, what was told of them, and each release.

create table frozen_count (
    quarter varchar not null,
    family varchar not null,  -- site or surgeon_type
    group_name varchar not null,
    item varchar not null,  -- a measure, a reason, or an hour of the curve
    children bigint not null,  -- with an event, each at the first catheter
    others bigint not null,  -- children without
    known bigint not null,  -- children whom it is known of
    events bigint not null,
    base double not null  -- the denominator
);

create table released_figure (
    quarter varchar not null,  -- at whose end it was decided
    item varchar not null,
    family varchar not null,  -- all, site or surgeon_type
    group_name varchar not null,
    first_quarter varchar not null,
    last_quarter varchar not null,
    why varchar not null,  -- empty where it is told
    events bigint,  -- as told; null where withheld, or where it has none
    base double  -- as told, rounded
);

create table release (
    number integer not null,
    quarter varchar not null,
    comparison varchar not null,  -- none, site or surgeon_type
    released_at timestamp not null,  -- UTC
    as_of date not null,
    load_id integer not null,  -- the last load at that moment
    figures integer not null,
    fingerprint varchar not null  -- digest of what is told
);
