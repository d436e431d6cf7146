-- The counts that `dwell gather` brings back from where records stay. A store has these
-- tables in the place of single episodes.

create or replace table gathered (
    engine varchar not null,
    gathered_at timestamp not null,  -- UTC
    episodes bigint not null,
    settings varchar not null  -- that the rules in SQL read, as the selects that gave them
);

-- Every measure by month and one grouping that is not the site; by site stand the counts
-- that every store keeps ready.
create or replace table gathered_group (
    measure varchar not null,
    grouped_by varchar not null,
    level varchar,  -- null where not recorded
    placed_month varchar not null,
    placed_quarter varchar not null,
    numerator hugeint,
    denominator decimal(38, 12),
    missing_denominator decimal(38, 12),
    episodes bigint not null,
    ascertained bigint not null,
    with_event bigint not null
);

-- What was counted by combinations of factors: for comparisons and for changes.
create or replace table gathered_question (
    question varchar not null,  -- factors, months, first month of a change
    measure varchar not null
);

create or replace table gathered_pattern (
    question varchar not null,
    measure varchar,  -- null: the combination itself, whatever measure applies to it
    factor_period varchar,
    factor_month varchar,
    factor_site varchar,
    factor_surgeon_type varchar,
    factor_limb varchar,
    factor_nerve_target varchar,
    factor_age_band varchar,
    factor_interpreter_needed varchar,
    factor_placed_by varchar,
    factor_tunnelled varchar,
    factor_skin_glue varchar,
    factor_drug varchar,
    factor_planned_course varchar,
    factor_age_years varchar,
    factor_planned_dwell_h varchar,
    episodes bigint,
    with_event bigint,
    children bigint,
    children_with_event bigint,
    missing_episodes bigint,
    numerator decimal(38, 12),
    denominator decimal(38, 12),
    numerator_squared decimal(38, 12),
    cross_product decimal(38, 12),
    denominator_squared decimal(38, 12),
    missing_denominator decimal(38, 12)
);

-- Of measures of rare events: each event, and the last catheter of each month, on the
-- running count of catheters and days.
create or replace table gathered_event (
    measure varchar not null,
    site varchar not null,  -- code, or all
    month varchar not null,
    numerator bigint not null,
    catheters bigint not null,
    catheter_days decimal(38, 12)
);

-- Over children: sums of events (y) and of what they are counted against (d), and of products.
create or replace table gathered_child (
    measure varchar not null,
    y decimal(38, 12),
    d decimal(38, 12),
    yy decimal(38, 12),
    yd decimal(38, 12),
    dd decimal(38, 12)
);

create or replace table gathered_removal (
    grouped_by varchar not null,  -- all: no groups
    "group" varchar not null,
    hours double,
    reason varchar,
    n bigint not null,
    midpoints bigint not null
);

create or replace table gathered_interval (
    after_h double not null,
    before_h double not null,  -- infinite where no removal is known
    n bigint not null
);

create or replace table gathered_clock (
    placed_hour integer not null,
    dwell_h double not null,
    reason varchar,
    n bigint not null
);

create or replace table gathered_pump (
    rate_ml_h double,
    reservoir_ml double,
    dwell_h double not null,
    is_removed boolean not null,
    n bigint not null
);
