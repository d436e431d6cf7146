-- The figures of a quarter as they were published; a later edition does not replace an earlier.

create table published (
    quarter varchar not null,
    edition integer not null,
    frozen_at timestamp not null,  -- UTC
    as_of date not null,
    load_id integer not null,  -- the last load at that moment
    measure varchar not null,
    definition varchar not null,  -- digest of the measure's select and of the settings
    site varchar not null,  -- code, or all
    numerator bigint not null,
    denominator double not null,
    episodes bigint not null,
    ascertained bigint not null,
    provisional boolean not null
);
