"""Migrations, views and what is refused."""

import shutil
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import StoreError
from pipeline.records.declaration import SQL_TYPE
from pipeline.records.layout import RECORDS
from pipeline.store import open_store, schema, views
from tests.store.small import EPISODE, contents, episode, load, rows, write


@pytest.fixture
def db(tmp_path: Path) -> Path:
    path = tmp_path / "dwell.duckdb"
    load(path, write(tmp_path / "in", {"episode.csv": EPISODE + episode()}))
    return path


@pytest.fixture
def sql(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the SQL that a test may change."""
    root = tmp_path / "sql"
    shutil.copytree(schema.resource("sql"), root)
    for module in (schema, views):
        monkeypatch.setattr(module, "resource", lambda _top, *rest: root.joinpath(*rest))
    return root


@pytest.mark.parametrize("record", RECORDS.values(), ids=lambda record: record.name)
@pytest.mark.parametrize("suffix", ["", "_version"])
def test_the_tables_are_those_of_the_layout(record, suffix) -> None:
    with duckdb.connect() as connection:
        schema.bring_up_to_date(connection)
        found = connection.execute(
            "select column_name, lower(data_type), is_nullable from duckdb_columns()"
            " where table_name = ? order by column_index",
            [record.name + suffix],
        ).fetchall()
    layout = [(f.name, SQL_TYPE[f.kind], not f.required) for f in record.fields]
    origin = [("load_id", "integer", False), ("file_id", "integer", True),
              ("source_row", "bigint", True)]  # fmt: skip
    replaced = [("replaced_by", "integer", False)] if suffix else []
    assert found == layout + origin + replaced


def test_an_older_store_is_migrated_and_that_is_said(
    db: Path, sql: Path, caplog: pytest.LogCaptureFixture
) -> None:
    newest = schema.migrations()[-1].number
    (sql / "tables" / f"{newest + 1:03}_ward.sql").write_text(
        "alter table episode add column ward varchar;"
    )
    assert rows(db, "select episode_id, ward from episode") == [("e1", None)]
    assert f"is of schema {newest}; bringing it up to {newest + 1}" in caplog.text
    assert list(db.parent.glob("[!.]*.duckdb*")) == [db]


@pytest.fixture
def first_layout(tmp_path: Path) -> Path:
    """A store as the first edition left it, with an episode, a contact and a change."""
    path = tmp_path / "first.duckdb"
    with duckdb.connect(str(path)) as connection:
        connection.execute("create table schema_info (schema_version integer, views_hash varchar)")
        connection.execute("insert into schema_info values (4, 'old')")
        for migration in schema.migrations()[:4]:
            connection.execute(migration.path.read_text("utf-8"))
        for row in (
            "site (site, label, load_id) values ('avocet', 'Avocet', 1)",
            "episode (episode_id, site, placed_month, month_order, surgeon_type, nerve_target,"
            " planned_dwell_h, removed_h, removal_reason, load_id)"
            " values ('e1', 'avocet', '2025-04', 1, 'sports', 'femoral', 72, 50, 'leakage', 1)",
            "contact (contact_id, episode_id, at_h, direction, reached, topic, tinnitus, dressing,"
            " load_id) values ('c1', 'e1', 20, 'family', true, 'other', true, 'exposed', 1)",
            "contact_version (contact_id, episode_id, at_h, direction, reached, topic, load_id,"
            " replaced_by) values ('c1', 'e1', 19, 'family', true, 'other', 1, 2)",
            "change (change_id, started_month, sites, title, load_id)"
            " values ('glue', '2025-04', 'all', 'Glue', 1)",
            "load (load_id, kind, loaded_at, as_of)"
            " values (1, 'load', '2026-01-06', date '2026-01-06')",
            "signal values ('2025-Q2', 1, 'toxicity_calls', 'all', 'run', 'above', '2025-04',"
            " '2025-06', 'A run.', 0.01, 0.02)",
        ):
            connection.execute(f"insert into {row}")
    return path


def test_a_store_of_the_first_layout_keeps_all_it_held(first_layout: Path) -> None:
    assert rows(first_layout, "select episode_id, removed_h, bolus_mg from episode") == [
        ("e1", 50.0, None)
    ]
    assert rows(first_layout, "select at_h, tinnitus, seizure from contact") == [(20.0, True, None)]
    assert rows(first_layout, "select at_h, replaced_by from contact_version") == [(19.0, 2)]
    assert rows(first_layout, "select change_id, kind from change") == [("glue", None)]
    assert rows(first_layout, "select count(*) from event") == [(0,)]


def test_a_store_of_the_first_layout_answers_the_measures_of_this_one(first_layout: Path) -> None:
    assert rows(
        first_layout,
        "select measure, numerator from measure_value where is_ascertained and measure in"
        " ('leakage', 'toxicity_symptoms', 'dressing_failure') order by 1",
    ) == [("dressing_failure", 1), ("leakage", 1), ("toxicity_symptoms", 1)]
    assert rows(first_layout, "select measure from signal") == [("toxicity_symptoms",)]


def test_a_migration_that_fails_leaves_the_store_as_it_was(db: Path, sql: Path) -> None:
    before = contents(db)
    newest = schema.migrations()[-1].number
    bad = sql / "tables" / f"{newest + 1:03}_bad.sql"
    bad.write_text("alter table episode add column ward varchar; select * from nowhere;")
    with pytest.raises(StoreError):
        rows(db, "select 1")
    bad.unlink()
    assert contents(db) == before


def test_a_newer_store_is_refused(db: Path) -> None:
    with open_store(db, read_only=False) as store:
        store.rows("update schema_info set schema_version = 999")
    for read_only in (True, False):
        with pytest.raises(StoreError, match="schema 999"), open_store(db, read_only=read_only):
            pass


def test_older_views_are_refreshed_and_gone_ones_dropped(db: Path, sql: Path) -> None:
    with open_store(db, read_only=False) as store:
        store.rows("create view left_over as select 1 as one")
    (sql / "views" / "99_new.sql").write_text("create view newly_added as select 2 as two;")
    assert rows(db, "from newly_added") == [(2,)]
    with pytest.raises(StoreError):
        rows(db, "from left_over")


def test_another_database_is_no_store(tmp_path: Path) -> None:
    path = tmp_path / "other.duckdb"
    with duckdb.connect(str(path)) as connection:
        connection.execute("create table t as select 1 as one")
    for read_only in (True, False):
        with pytest.raises(StoreError, match="not a store"), open_store(path, read_only=read_only):
            pass


@pytest.mark.parametrize("content", [b"not a database", b"x" * 100_000])
def test_a_damaged_file_is_no_store(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "damaged.duckdb"
    path.write_bytes(content)
    with pytest.raises(StoreError, match="not a store, or is damaged"), open_store(path):
        pass
    assert path.read_bytes() == content


def test_a_missing_store_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="dwell load FOLDER"), open_store(tmp_path / "none.duckdb"):
        pass
    assert list(tmp_path.iterdir()) == []
