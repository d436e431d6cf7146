"""SQL that somebody types: it reads the store, changes nothing, and reaches nothing else."""

import hashlib
import threading
from pathlib import Path

import pytest

from pipeline.errors import DwellError, StoreError, UsageError
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.store.adhoc import Limits, open_desk

SECRET = "not for the query to read"

# {outside} is a file beside the store, {new} one that must not come to be, {store} the store.
HOSTILE = [
    "insert into site values ('x', 'x', null, 1, null, null)",
    "update episode set age_years = 1",
    "delete from contact",
    "truncate contact",
    "drop table episode",
    "drop view episode_dwell",
    "alter table episode add column name varchar",
    "create table stolen as select * from episode",
    "create temp table stolen as select * from episode",
    "create view v as select 1",
    "create or replace view episode_dwell as select 1",
    "create schema s",
    "create macro f(x) as x",
    "comment on table episode is 'x'",
    "merge into site using site as s on false when not matched then insert values (1)",
    "with x as (select 1) insert into site select * from x",
    "attach '{new}' as other",
    "attach '{outside}' as other (read_only)",
    "attach ':memory:' as other",
    "detach dwell",
    "copy episode to '{new}'",
    "copy (select * from episode) to '{new}' (format parquet)",
    "copy episode from '{outside}'",
    "export database '{new}'",
    "import database '{new}'",
    "select * from read_csv('{outside}')",
    "select * from read_csv_auto('{outside}')",
    "select * from read_text('{outside}')",
    "select * from read_blob('{outside}')",
    "select * from read_json('{outside}')",
    "select * from read_parquet('{outside}')",
    "select * from parquet_scan('{outside}')",
    "select * from sniff_csv('{outside}')",
    "select * from glob('{folder}/*')",
    "select * from '{outside}'",
    "select * from read_csv('https://example.invalid/x.csv')",
    "select (select content from read_text('{outside}')) from episode",
    "with x as (select * from read_text('{outside}')) select * from x",
    "explain analyze select * from read_text('{outside}')",
    "describe select * from '{outside}'",
    "summarize '{outside}'",
    "from query('select * from read_text(''{outside}'')')",
    "from query_table('{outside}')",
    "install httpfs",
    "load httpfs",
    "force install spatial",
    "set enable_external_access = true",
    "set lock_configuration = false",
    "set global memory_limit = '900GB'",
    "reset enable_external_access",
    "pragma enable_external_access",
    "pragma database_list",
    "call pragma_version()",
    "use memory",
    "begin",
    "checkpoint",
    "vacuum",
    "prepare x as delete from site",
    "execute x",
    "select 1; drop table episode",
    "drop table episode; select 1",
    "select 1; copy episode to '{new}'",
    "select * from threading",
    "select 1 /* ' */; attach '{new}'",
    "select getenv('HOME')",
    "create secret s (type s3)",
]


@pytest.fixture
def folder(db, tmp_path):
    db.given("episode", "episode_id | patient_key\n e1 | p1\n e2 | p2")
    db.save(tmp_path / "dwell.duckdb")
    (tmp_path / "outside.csv").write_text(f"a\n{SECRET}\n", encoding="utf-8")
    return tmp_path


@pytest.fixture
def desk(folder):
    with open_desk(folder / "dwell.duckdb", limits=Limits(seconds=10)) as desk:
        yield desk


def state_of(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.parametrize("query", HOSTILE)
def test_a_hostile_query_changes_nothing_and_reads_nothing_outside(folder, desk, query):
    before = state_of(folder)
    text = (
        query.replace("{outside}", str(folder / "outside.csv"))
        .replace("{new}", str(folder / "new.file"))
        .replace("{folder}", str(folder))
    )
    with pytest.raises(DwellError) as raised:
        desk.run(text)
    assert SECRET not in str(raised.value)
    assert state_of(folder) == before
    assert desk.run("select count(*) from episode").rows == [(2,)]


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("delete from site", "The store is read-only here: nothing in it can be changed."),
        ("attach 'x.db'", "A query reads this store alone: no other file, no network, no other"),
        ("copy site to 'x'", "Results are written with --out FILE."),
        ("select * from read_csv('x')", "A query reads this store alone"),
        ("install httpfs", "No extension can be installed or loaded here."),
        ("set threads = 1", "The configuration is locked."),
        ("select 1; select 2", "One select at a time."),
        ("", "There is no query."),
        ("select nope from episode", 'column "nope" not found'),
        ("select $x", "The query has a parameter without a value."),
    ],
)
def test_each_refusal_is_one_clear_sentence(desk, query, sentence):
    with pytest.raises(UsageError) as raised:
        desk.run(query)
    assert sentence in raised.value.message


def test_a_cast_error_does_not_quote_the_cell(desk):
    with pytest.raises(UsageError) as raised:
        desk.run("select cast(patient_key as integer) from episode")
    assert "p1" not in str(raised.value)


def test_a_query_is_stopped_at_its_time_limit(folder):
    with open_desk(folder / "dwell.duckdb", limits=Limits(seconds=0.2)) as desk:
        with pytest.raises(StoreError, match=r"stopped after 0\.2 s"):
            desk.run("select count(*) from range(100000000000) a, range(10) b")
        assert desk.run("select 1").rows == [(1,)]


def test_a_query_is_stopped_at_its_memory_limit_without_a_spill(folder):
    before = state_of(folder)
    with (
        open_desk(folder / "dwell.duckdb", limits=Limits(memory="50MB")) as desk,
        pytest.raises(StoreError, match="more than 50MB of memory"),
    ):
        desk.run("select list(i) from range(50000000) t(i)")
    assert state_of(folder) == before


def test_rows_beyond_the_limit_are_cut_and_that_is_said(folder):
    with open_desk(folder / "dwell.duckdb", limits=Limits(rows=10)) as desk:
        result = desk.run("select * from range(1000000000)")
        assert (len(result.rows), result.is_cut) == (10, True)
        assert not desk.run("select * from range(10)").is_cut


def test_values_are_bound_and_never_pasted(desk):
    hostile = "e1' or true --"
    found = desk.run("select count(*) from episode where episode_id = $key", {"key": hostile})
    assert found.rows == [(0,)]


def test_views_answer_by_the_programmes_settings(folder):
    settings = Settings(evening_meal_hour=20)
    with open_desk(folder / "dwell.duckdb", settings=settings) as desk:
        assert desk.run("select value from setting").rows == [(20.0,)]
        # measure_value lies in the store and still reads the session's setting.
        assert desk.run("select count(*) from measure_value").rows[0][0] > 0


def test_two_readers_at_once(folder):
    path = folder / "dwell.duckdb"
    found = []

    def read() -> None:
        with open_desk(path) as desk:
            found.append(desk.run("select count(*) from episode").rows[0][0])

    readers = [threading.Thread(target=read) for _ in range(2)]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    assert found == [2, 2]


def test_columns_of_tables_and_views_are_known_for_completion(desk):
    columns = desk.columns()
    assert "dwell_h" in columns["episode_dwell"]
    assert "placed_month" in columns["episode"]


def test_a_missing_store_is_said_to_be_missing(tmp_path):
    with pytest.raises(StoreError, match="no store"), open_desk(tmp_path / "none.duckdb"):
        pass


def test_an_open_desk_sees_the_views_of_this_version(folder):
    with open_store(folder / "dwell.duckdb") as store:
        (in_store,) = store.rows("select count(*) from episode_dwell")
    with open_desk(folder / "dwell.duckdb") as desk:
        assert desk.run("select count(*) from episode_dwell").rows == [in_store]
