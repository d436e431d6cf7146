"""SQL that somebody types: it reads the store, changes nothing, and reaches nothing else."""

import hashlib
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from pipeline.errors import DwellError, StoreError, UsageError
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.store.adhoc import open_queries
from pipeline.store.query_limits import QueryLimits
from tests.conftest import Database

OUTSIDE = "A query reads this store alone: no other file, no network, no other database."
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


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A store, and a file beside it; every test finds and leaves them as they are."""
    db, folder = Database(), tmp_path_factory.mktemp("queries")
    db.given("episode", "episode_id | patient_key\n e1 | p1\n e2 | p2")
    db.save(folder / "dwell.duckdb")
    db.close()
    (folder / "outside.csv").write_text(f"a\n{SECRET}\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def queries(folder):
    with open_queries(folder / "dwell.duckdb", limits=QueryLimits(seconds=30)) as queries:
        yield queries


def state_of(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.parametrize("query", HOSTILE)
def test_a_hostile_query_changes_nothing_and_reads_nothing_outside(folder, queries, query):
    before = state_of(folder)
    text = (
        query.replace("{outside}", str(folder / "outside.csv"))
        .replace("{new}", str(folder / "new.file"))
        .replace("{folder}", str(folder))
    )
    with pytest.raises(DwellError) as raised:
        queries.run(text)
    assert SECRET not in str(raised.value)
    assert state_of(folder) == before
    assert queries.run("select count(*) from episode").rows == [(2,)]


def said(queries, query) -> tuple[str, str | None]:
    with pytest.raises(UsageError) as raised:
        queries.run(query)
    return raised.value.message, raised.value.try_next


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("delete from site", "The store is read-only here: nothing in it can be changed."),
        ("attach 'x.db'", OUTSIDE),
        ("copy site to 'x'", f"{OUTSIDE} Results are written with --out FILE."),
        ("select * from read_csv('x')", OUTSIDE),
        ("select * from 'x.csv'", OUTSIDE),
        ("install httpfs", "No extension can be installed or loaded here."),
        ("set threads = 1", "The configuration is locked."),
        ("select 1; select 2", "One select at a time."),
        ("", "There is no query."),
        ("select $x", "The query has a parameter without a value."),
    ],
)
def test_each_refusal_is_one_clear_sentence(queries, query, sentence):
    assert said(queries, query)[0] == sentence


@pytest.mark.parametrize(
    ("query", "sentence", "try_next"),
    [
        ("selec 1", "The SQL cannot be read at or just before selec (line 1, character 1).", None),
        ("select 'é' +\n ) as x",
         "The SQL cannot be read at or just before ) (line 2, character 2).", None),
        ("select 'a", "Unterminated string literal (line 1, character 8).", None),
        ("select dwel_h from episode_dwell", "There is no column dwel_h (line 1, character 8).",
         "dwell_h"),
        ("select 'é',\n nope\nfrom site", "There is no column nope (line 2, character 2).", None),
        ("select * from episode where site = avocet",
         "There is no column avocet (line 1, character 36).", "text stands in 'single quotes'"),
        ("select episode.x from episode",
         'Table "episode" does not have a column named "x" (line 1, character 8).', "age_years"),
        ("select * from episodes", "There is no table or view episodes (line 1, character 15).",
         "episode"),
        ("select medan(dwell_h) from episode_dwell",
         "There is no function medan (line 1, character 8).", "median"),
        ("select cast(1 as nope)", "There is no type nope (line 1, character 18).", None),
        ("select sum(site) from episode", "No function matches the given name and argument types"
         " 'sum(VARCHAR)' (line 1, character 8).", None),
        ("select site, count(*) from episode", 'Column "site" must appear in the GROUP BY clause or'
         " must be part of an aggregate function (line 1, character 8).", None),
        ("select episode_id from episode, contact", "Ambiguous reference to column name"
         " \"episode_id\" (use: 'episode.episode_id' or 'contact.episode_id')"
         " (line 1, character 8).", None),
    ],
    ids=lambda value: None,
)  # fmt: skip
def test_what_is_wrong_with_the_sql_is_said_with_where_and_what_would_fit(
    queries, query, sentence, try_next
):
    message, offered = said(queries, query)
    assert message == sentence
    assert try_next is None or try_next in str(offered)


@pytest.mark.parametrize(
    ("query", "begins"),
    [
        ("select cast(patient_key as integer) from episode",
         "A value cannot be converted to the type that the query asks for (line 1, character"),
        ("select patient_key::date from episode", "A value cannot be converted"),
        ("select age_years * 9223372036854775807 from episode", "A number does not fit the type"),
        ("select strptime(patient_key, '%Y') from episode", "A function of the query cannot take"),
        ("select regexp_matches('a', '(' || patient_key) from episode", "A function of the query"),
        ("select error(patient_key) from episode", "A function of the query cannot take"),
    ],
)  # fmt: skip
def test_an_error_about_a_value_does_not_quote_it(queries, query, begins):
    message, offered = said(queries, query)
    assert message.startswith(begins)
    assert "p1" not in f"{message}{offered}"
    assert "p2" not in f"{message}{offered}"


@pytest.mark.parametrize(
    "query",
    [
        "select count(*) from range(100000000000) a, range(10) b",
        # One step of one expression, at which the database does not look at the clock.
        "select levenshtein(repeat('a', 300000), repeat('b', 300000))",
        "select regexp_matches(repeat('a', 300000000), '(a*)*b')",
    ],
)
def test_a_query_is_stopped_at_its_time_limit(folder, query):
    with open_queries(folder / "dwell.duckdb", limits=QueryLimits(seconds=0.3)) as queries:
        with pytest.raises(StoreError, match=r"stopped after 0\.3 s"):
            queries.run(query)
        assert queries.run("select 1").rows == [(1,)]


@pytest.mark.parametrize(
    "query",
    [
        "select list(i) from range(50000000) t(i)",
        # One value, of which the database counts nothing.
        "select length(repeat('x', 2000000000))",
        "select len(range(200000000))",
        "select repeat('x', 10000) from range(1000000)",
    ],
)
def test_a_query_is_stopped_at_its_memory_limit_without_a_spill(folder, query):
    before = state_of(folder)
    with open_queries(folder / "dwell.duckdb", limits=QueryLimits(memory="50MB")) as queries:
        with pytest.raises(StoreError, match="more than 50MB of memory"):
            queries.run(query)
        assert queries.run("select 1").rows == [(1,)]
    assert state_of(folder) == before


@pytest.mark.parametrize("amount", ["lots", "2", "-1GB", "2GB; set x = 1"])
def test_an_amount_of_memory_has_a_unit(amount):
    with pytest.raises(UsageError, match="no amount of memory"):
        QueryLimits(memory=amount)


def test_the_asking_process_imports_no_database():
    code = "import sys, pipeline.store.adhoc; sys.exit('duckdb' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_query_does_not_outlive_who_asked(folder):
    """The process that reads the store ends with the one that asked."""
    code = (
        "import os, sys\n"
        "from pipeline.store.adhoc import open_queries\n"
        "with open_queries(sys.argv[1]) as queries:\n"
        "    print(queries._process.pid, flush=True)\n"
        "    os._exit(0)\n"
    )
    path = str(folder / "dwell.duckdb")
    done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, check=True)
    reader = int(done.stdout)
    for _ in range(200):
        try:
            os.kill(reader, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    pytest.fail("the process is still there")


def test_rows_beyond_the_limit_are_cut_and_that_is_said(folder):
    with open_queries(folder / "dwell.duckdb", limits=QueryLimits(rows=10)) as queries:
        result = queries.run("select * from range(1000000000)")
        assert (len(result.rows), result.is_cut) == (10, True)
        assert not queries.run("select * from range(10)").is_cut


def test_values_are_bound_and_never_pasted(queries):
    hostile = "e1' or true --"
    found = queries.run("select count(*) from episode where episode_id = $key", {"key": hostile})
    assert found.rows == [(0,)]


def test_views_answer_by_the_programmes_settings(folder):
    settings = Settings(removal_by_hour=20)
    with open_queries(folder / "dwell.duckdb", settings=settings) as queries:
        found = queries.run("select value from setting where name = 'removal_by_hour'")
        assert found.rows == [(20.0,)]
        # measure_value lies in the store and still reads the session's setting.
        assert queries.run("select count(*) from measure_value").rows[0][0] > 0


def test_two_readers_at_once(folder):
    path = folder / "dwell.duckdb"
    found = []

    def read() -> None:
        with open_queries(path) as queries:
            found.append(queries.run("select count(*) from episode").rows[0][0])

    readers = [threading.Thread(target=read) for _ in range(2)]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    assert found == [2, 2]


def test_columns_of_tables_and_views_are_known_for_completion(queries):
    columns = queries.columns()
    assert "dwell_h" in columns["episode_dwell"]
    assert "placed_month" in columns["episode"]


def test_a_missing_store_is_said_to_be_missing(tmp_path):
    with pytest.raises(StoreError, match="no store"), open_queries(tmp_path / "none.duckdb"):
        pass


def test_an_open_queries_sees_the_views_of_this_version(folder):
    with open_store(folder / "dwell.duckdb") as store:
        (in_store,) = store.rows("select count(*) from episode_dwell")
    with open_queries(folder / "dwell.duckdb") as queries:
        assert queries.run("select count(*) from episode_dwell").rows == [in_store]
