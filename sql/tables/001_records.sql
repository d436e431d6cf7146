-- The records as they stand, and the versions that later loads replaced.

create table site (
    site varchar not null,
    label varchar not null,
    opened_month varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint
);

create table site_version (
    site varchar not null,
    label varchar not null,
    opened_month varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);

create table episode (
    episode_id varchar not null,
    patient_key varchar,
    site varchar not null,
    placed_month varchar not null,
    month_order integer not null,
    placed_hour integer,
    age_years integer,
    weight_kg double,
    interpreter_needed boolean,
    surgeon_type varchar not null,
    nerve_target varchar not null,
    placed_by varchar,
    tunnelled boolean,
    skin_glue boolean,
    drug varchar,
    concentration_pct double,
    rate_ml_h double,
    reservoir_ml double,
    planned_dwell_h double not null,
    discharged_h double,
    removed_h double,
    removed_after_h double,
    removed_before_h double,
    removal_time_source varchar,
    removal_reason varchar,
    removed_by varchar,
    removal_difficulty varchar,
    last_known_in_place_h double,
    followed_until_h double,
    load_id integer not null,
    file_id integer,
    source_row bigint
);

create table episode_version (
    episode_id varchar not null,
    patient_key varchar,
    site varchar not null,
    placed_month varchar not null,
    month_order integer not null,
    placed_hour integer,
    age_years integer,
    weight_kg double,
    interpreter_needed boolean,
    surgeon_type varchar not null,
    nerve_target varchar not null,
    placed_by varchar,
    tunnelled boolean,
    skin_glue boolean,
    drug varchar,
    concentration_pct double,
    rate_ml_h double,
    reservoir_ml double,
    planned_dwell_h double not null,
    discharged_h double,
    removed_h double,
    removed_after_h double,
    removed_before_h double,
    removal_time_source varchar,
    removal_reason varchar,
    removed_by varchar,
    removal_difficulty varchar,
    last_known_in_place_h double,
    followed_until_h double,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);

create table contact (
    contact_id varchar not null,
    episode_id varchar not null,
    at_h double not null,
    direction varchar not null,
    reached boolean not null,
    minutes_to_answer double,
    topic varchar not null,
    pain_score integer,
    leakage varchar,
    dressing varchar,
    breathing_difficulty boolean,
    unresponsive boolean,
    perioral_numbness boolean,
    tinnitus boolean,
    metallic_taste boolean,
    agitation boolean,
    redness_swelling boolean,
    limb_weakness boolean,
    fell boolean,
    opioid_doses integer,
    outcome varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint
);

create table contact_version (
    contact_id varchar not null,
    episode_id varchar not null,
    at_h double not null,
    direction varchar not null,
    reached boolean not null,
    minutes_to_answer double,
    topic varchar not null,
    pain_score integer,
    leakage varchar,
    dressing varchar,
    breathing_difficulty boolean,
    unresponsive boolean,
    perioral_numbness boolean,
    tinnitus boolean,
    metallic_taste boolean,
    agitation boolean,
    redness_swelling boolean,
    limb_weakness boolean,
    fell boolean,
    opioid_doses integer,
    outcome varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);

create table visit (
    visit_id varchar not null,
    episode_id varchar not null,
    at_h double not null,
    kind varchar not null,
    relation varchar not null,
    load_id integer not null,
    file_id integer,
    source_row bigint
);

create table visit_version (
    visit_id varchar not null,
    episode_id varchar not null,
    at_h double not null,
    kind varchar not null,
    relation varchar not null,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);

create table change (
    change_id varchar not null,
    started_month varchar not null,
    sites varchar not null,
    title varchar not null,
    measures varchar,
    new_phase boolean,
    load_id integer not null,
    file_id integer,
    source_row bigint
);

create table change_version (
    change_id varchar not null,
    started_month varchar not null,
    sites varchar not null,
    title varchar not null,
    measures varchar,
    new_phase boolean,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);

