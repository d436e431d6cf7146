"""Migrations, views and what is refused."""

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
    """A copy of the migrations and views that a test may change."""
    root = tmp_path / "sql"
    for name in ("tables", "views", "measures"):
        (root / name).mkdir(parents=True)
        for path in schema.resource("sql", name).glob("*.sql"):
            (root / name / path.name).write_text(path.read_text("utf-8"), "utf-8")
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


def test_an_older_store_is_backed_up_and_migrated(db: Path, sql: Path) -> None:
    newest = schema.migrations()[-1].number
    (sql / "tables" / f"{newest + 1:03}_ward.sql").write_text(
        "alter table episode add column ward varchar;"
    )
    assert rows(db, "select episode_id, ward from episode") == [("e1", None)]
    (backup,) = db.parent.glob("*.before-schema-*")
    assert backup.stat().st_mode & 0o777 == 0o600
    with duckdb.connect(str(backup), read_only=True) as old:
        assert old.execute("select schema_version from schema_info").fetchone() == (newest,)
        assert old.execute("select count(*) from episode").fetchone() == (1,)


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
