-- The signals of a quarter's control charts as they were listed; editions stay.

create table signal_list (
    quarter varchar not null,
    edition integer not null,
    listed_at timestamp not null,  -- UTC
    as_of date not null,
    load_id integer not null,  -- the last load at that moment
    charts integer not null  -- control charts looked at
);

create table signal (
    quarter varchar not null,
    edition integer not null,
    measure varchar not null,
    site varchar not null,  -- code, or all
    kind varchar not null,  -- the rule
    direction varchar not null,  -- above, below or both sides of the centre line
    first_period varchar not null,
    last_period varchar not null,
    sentence varchar not null,
    p_value double not null,
    adjusted_p double not null
);
