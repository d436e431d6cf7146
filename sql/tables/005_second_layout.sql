-- The second layout: more columns for episodes, contacts and changes; events and actions.

alter table episode rename to first_episode;
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
    bolus_mg double,
    operation_key varchar,
    pump_problem varchar,
    limb_aid_given boolean,
    discharged_h double,
    removed_h double,
    removed_after_h double,
    removed_before_h double,
    removal_time_source varchar,
    removal_reason varchar,
    removed_by varchar,
    removal_difficulty varchar,
    last_known_in_place_h double,
    rebound_pain_score integer,
    satisfaction_score integer,
    followed_until_h double,
    load_id integer not null,
    file_id integer,
    source_row bigint
);
insert into episode by name select * from first_episode;
drop table first_episode;

alter table episode_version rename to first_episode_version;
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
    bolus_mg double,
    operation_key varchar,
    pump_problem varchar,
    limb_aid_given boolean,
    discharged_h double,
    removed_h double,
    removed_after_h double,
    removed_before_h double,
    removal_time_source varchar,
    removal_reason varchar,
    removed_by varchar,
    removal_difficulty varchar,
    last_known_in_place_h double,
    rebound_pain_score integer,
    satisfaction_score integer,
    followed_until_h double,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);
insert into episode_version by name select * from first_episode_version;
drop table first_episode_version;

alter table contact rename to first_contact;
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
    seizure boolean,
    drowsy boolean,
    twitching boolean,
    perioral_numbness boolean,
    metallic_taste boolean,
    tinnitus boolean,
    dizziness boolean,
    visual_change boolean,
    slurred_speech boolean,
    agitation boolean,
    palpitations boolean,
    hoarse_voice boolean,
    drooping_lid boolean,
    redness_swelling boolean,
    limb_weakness boolean,
    fell boolean,
    opioid_doses integer,
    outcome varchar,
    clamped boolean,
    restarted boolean,
    seen boolean,
    contact_kind varchar,
    lasting_numbness boolean,
    lasting_weakness boolean,
    lasting_pain boolean,
    load_id integer not null,
    file_id integer,
    source_row bigint
);
insert into contact by name select * from first_contact;
drop table first_contact;

alter table contact_version rename to first_contact_version;
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
    seizure boolean,
    drowsy boolean,
    twitching boolean,
    perioral_numbness boolean,
    metallic_taste boolean,
    tinnitus boolean,
    dizziness boolean,
    visual_change boolean,
    slurred_speech boolean,
    agitation boolean,
    palpitations boolean,
    hoarse_voice boolean,
    drooping_lid boolean,
    redness_swelling boolean,
    limb_weakness boolean,
    fell boolean,
    opioid_doses integer,
    outcome varchar,
    clamped boolean,
    restarted boolean,
    seen boolean,
    contact_kind varchar,
    lasting_numbness boolean,
    lasting_weakness boolean,
    lasting_pain boolean,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);
insert into contact_version by name select * from first_contact_version;
drop table first_contact_version;

alter table change rename to first_change;
create table change (
    change_id varchar not null,
    started_month varchar not null,
    sites varchar not null,
    title varchar not null,
    measures varchar,
    new_phase boolean,
    kind varchar,
    reason varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint
);
insert into change by name select * from first_change;
drop table first_change;

alter table change_version rename to first_change_version;
create table change_version (
    change_id varchar not null,
    started_month varchar not null,
    sites varchar not null,
    title varchar not null,
    measures varchar,
    new_phase boolean,
    kind varchar,
    reason varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);
insert into change_version by name select * from first_change_version;
drop table first_change_version;

create table event (
    event_id varchar not null,
    episode_id varchar not null,
    at_h double not null,
    kind varchar not null,
    reviewed boolean,
    reviewed_month varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint
);

create table event_version (
    event_id varchar not null,
    episode_id varchar not null,
    at_h double not null,
    kind varchar not null,
    reviewed boolean,
    reviewed_month varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);

create table action (
    action_id varchar not null,
    decided_month varchar not null,
    title varchar not null,
    owner_role varchar not null,
    due_month varchar,
    state varchar not null,
    measures varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint
);

create table action_version (
    action_id varchar not null,
    decided_month varchar not null,
    title varchar not null,
    owner_role varchar not null,
    due_month varchar,
    state varchar not null,
    measures varchar,
    load_id integer not null,
    file_id integer,
    source_row bigint,
    replaced_by integer not null
);

-- Measures that count something else now are called so; what was published stays.
create temp table renamed (old varchar, new varchar);
insert into renamed values
    ('toxicity_calls', 'toxicity_symptoms'),
    ('toxicity_urgent', 'emergency_symptoms'),
    ('infection_signs', 'redness_swelling'),
    ('answered_in_15_min', 'answered_in_time');
update published set measure = (select new from renamed where old = measure)
where measure in (select old from renamed);
update signal set measure = (select new from renamed where old = measure)
where measure in (select old from renamed);
drop table renamed;
