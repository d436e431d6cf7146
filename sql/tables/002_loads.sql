-- Where every row came from, and what was set aside.

create table load (
    load_id integer not null,
    kind varchar not null,  -- load, or undo of another load
    loaded_at timestamp not null,  -- UTC
    as_of date not null,  -- when the records were extracted
    mapping_name varchar,
    mapping_hash varchar,
    mapping_text varchar,
    undoes integer,
    undone_by integer
);

create table load_file (
    file_id integer not null,
    load_id integer not null,
    record varchar not null,
    file_name varchar not null,
    sha256 varchar not null,
    bytes bigint not null,
    rows_in bigint not null,
    rows_new bigint not null,
    rows_corrected bigint not null,
    rows_unchanged bigint not null,
    rows_set_aside bigint not null
);

create table set_aside (
    set_aside_id integer not null,
    load_id integer not null,
    file_id integer not null,
    record varchar not null,
    record_key varchar,
    source_row bigint not null,
    column_name varchar,
    rule varchar not null,
    questioned boolean not null,
    raw varchar not null,  -- the row as it was sent, as JSON, in its columns' order
    cleared_by integer  -- the load that brought the row in after all
);
