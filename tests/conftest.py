"""The `db` fixture: rules in SQL tested with small tables that a clinician can read.

    def test_small_leakage_is_usual_and_not_counted(db):
        db.given("contact", '''
            episode_id | at_h | leakage
            e1         | 20   | small
            e1         | 44   | large
        ''')
        db.expect("leakage", '''
            episode_id | numerator
            e1         | 1
        ''')

What a table leaves out is filled with the ordinary case: a catheter removed at 72 h
as planned by the family, a planned call that reached the family. An episode that is
only mentioned is an ordinary one. An empty cell is null.
"""

import gc
import os
from collections.abc import Iterator
from functools import cache
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import duckdb
import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.records.declaration import Field, Kind
from pipeline.records.layout import RECORDS
from pipeline.resources import resource
from pipeline.store import schema
from pipeline.store.kept_ready import make_ready
from tests.engines import elsewhere

# They take minutes: begun last, they would leave one process to work alone. Of those that read
# the same reports one stands here, or another process would wait until they are made.
FIRST = ("tests/robust/test_killed", "tests/test_wheel", "tests/report/test_browser",
         "tests/analysis/test_f")  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    """Keep each of several test processes to one core, with all that it starts.

    Two that each share their work out over both cores do more work, and are done no sooner.
    """
    worker = getattr(config, "workerinput", None)
    if worker is not None and hasattr(os, "sched_setaffinity"):
        cores = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, {cores[int(worker["workerid"][2:]) % len(cores)]})


@pytest.fixture
def every_core() -> Iterator[None]:
    """Work on all cores meanwhile, as a user does."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    mine = os.sched_getaffinity(0)
    os.sched_setaffinity(0, range(os.cpu_count() or 1))
    yield
    os.sched_setaffinity(0, mine)


def pytest_collection_finish() -> None:
    """Leave all that has been imported out of every later search for garbage."""
    gc.freeze()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest."""
    items.sort(key=lambda item: not item.nodeid.startswith(FIRST))


ORDINARY: dict[str, dict[str, Any]] = {
    "site": {"label": "Avocet"},
    "episode": {
        "site": "avocet",
        "placed_month": "2025-04",
        "placed_hour": 9,
        "age_years": 10,
        "weight_kg": 40.0,
        "surgeon_type": "sports",
        "nerve_target": "femoral",
        "planned_dwell_h": 72.0,
        "discharged_h": 6.0,
        "followed_until_h": 168.0,
    },
    "contact": {"at_h": 20.0, "direction": "service", "reached": True, "topic": "routine"},
    "visit": {"at_h": 50.0, "kind": "emergency_department", "relation": "catheter"},
    "event": {"at_h": 50.0, "kind": "infection_treated"},
    "action": {
        "decided_month": "2025-04",
        "title": "An action",
        "owner_role": "nurse",
        "state": "open",
    },
    "change": {"started_month": "2025-04", "sites": "all", "title": "A change"},
}
OF_EPISODES = {name for name, record in RECORDS.items() if "episode_id" in record.columns[1:]}
# Used as a whole, and only where the table says nothing of the removal.
ORDINARY_REMOVAL: dict[str, Any] = {
    "removed_h": 72.0,
    "removed_after_h": None,
    "removed_before_h": None,
    "last_known_in_place_h": None,
    "removal_reason": "completed",
    "removed_by": "family",
    "removal_time_source": "family_record",
    "removal_difficulty": "none",
}


def cells(text: str) -> list[dict[str, str]]:
    """Return the rows of a small table, one `|` between cells."""
    header, *lines = [
        [cell.strip() for cell in line.split("|")]
        for line in text.strip().splitlines()
        if line.strip()
    ]
    for line in lines:
        assert len(line) == len(header), f"{line} does not fit {header}"
    return [dict(zip(header, line, strict=True)) for line in lines]


def value_of(field: Field, cell: str) -> Any:
    """Return a cell as the layout's type."""
    if cell == "":
        return None
    match field.kind:
        case Kind.YES_NO:
            return {"yes": True, "no": False}[cell]
        case Kind.INTEGER:
            return int(cell)
        case Kind.NUMBER:
            return float(cell)
        case Kind.CODE if field.codes is not None:
            return field.codes(cell).value
        case _:
            return cell


@cache
def empty_store() -> bytes:
    """Return the file of an empty store; making its views is slow enough to do once."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "empty.duckdb"
        with duckdb.connect(str(path)) as connection:
            schema.bring_up_to_date(connection)
        return path.read_bytes()


class Database:
    """An empty store, with `given` to fill it and `expect` to question it.

    With `keeps_ready`, the tables that a load makes ready follow what is given.
    """

    def __init__(self) -> None:
        self.keeps_ready = False
        self._folder = TemporaryDirectory()
        path = Path(self._folder.name) / "dwell.duckdb"
        path.write_bytes(empty_store())
        self.connection = duckdb.connect(str(path))
        self._numbers = count(1)

    def close(self) -> None:
        """Let go of the store; it is gone afterwards."""
        self.connection.close()
        self._folder.cleanup()

    def given(self, record: str, table: str = "") -> None:
        """Add rows to a record; without a table, one ordinary row."""
        for row in cells(table) if table else [{}]:
            layout = RECORDS[record]
            self._insert(
                record, {name: value_of(layout.field(name), cell) for name, cell in row.items()}
            )
        if self.keeps_ready:
            make_ready(self.connection)

    def expect(self, name: str, table: str) -> None:
        """Compare a view or measure, whole, in the columns that the table names."""
        expected = cells(table)
        columns = list(expected[0])
        sql = f"select {', '.join(columns)} from {self._source(name)}"
        wanted = [{k: _shown(_parsed(v)) for k, v in row.items()} for row in expected]
        for found in (self.rows(sql), *elsewhere(self.connection, sql)):
            got = [dict(zip(columns, map(_shown, row), strict=True)) for row in found]
            assert sorted(map(str, got)) == sorted(map(str, wanted))

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Return the rows of any select."""
        return self.connection.execute(sql).fetchall()

    def save(self, path: Path, as_of: str = "2026-01-06") -> Path:
        """Write what was given to a store file, as if loaded from records of that date."""
        path.write_bytes(empty_store())
        self.connection.execute(f"attach '{path}' as saved")
        for record in RECORDS:
            self.connection.execute(f"insert into saved.{record} select * from {record}")
        self.connection.execute(
            "insert into saved.load (load_id, kind, loaded_at, as_of)"
            f" values (1, 'load', timestamp '2026-01-06', date '{as_of}')"
        )
        self.connection.execute("detach saved")
        with duckdb.connect(str(path)) as connection:
            make_ready(connection)
        return path

    def _source(self, name: str) -> str:
        if (resource("sql", "measures") / f"{name}.sql").exists():
            text = (resource("sql", "measures") / f"{name}.sql").read_text(encoding="utf-8")
            return f"(\n{text}\n) as rows_of_measure"
        return name

    def _insert(self, record: str, given: dict[str, Any]) -> None:
        row = self._filled(record, given)
        if record in OF_EPISODES and not self._has("episode", row["episode_id"]):
            self._insert("episode", {"episode_id": row["episode_id"]})
        if record == "episode" and not self._has("site", row["site"]):
            self._insert("site", {"site": row["site"], "label": row["site"].title()})
        columns = [*row, "load_id"]
        self.connection.execute(
            f"insert into {record} ({', '.join(columns)})"
            f" values ({', '.join('?' for _ in columns)})",
            [*row.values(), 1],
        )

    def _filled(self, record: str, given: dict[str, Any]) -> dict[str, Any]:
        number = next(self._numbers)
        row: dict[str, Any] = {RECORDS[record].key: f"{record[0]}{number}"}
        if record in OF_EPISODES:
            row["episode_id"] = "e1"
        if record == "episode":
            row["month_order"] = number
            if not set(ORDINARY_REMOVAL) & set(given):
                row |= ORDINARY_REMOVAL
        return row | ORDINARY[record] | given

    def _has(self, record: str, key: str) -> bool:
        found = self.rows(f"select count(*) from {record} where {RECORDS[record].key} = '{key}'")
        return bool(found[0][0])


def _parsed(cell: str) -> Any:
    if cell in {"yes", "no"}:
        return cell == "yes"
    try:
        return float(cell)
    except ValueError:
        return cell or None


def _shown(value: Any) -> str:
    """Return a value as the tables write it, numbers to six decimals."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    try:
        return f"{float(value):.6f}".rstrip("0").rstrip(".")
    except ValueError:
        return str(value)


@pytest.fixture
def db() -> Iterator[Database]:
    """Give an empty store."""
    database = Database()
    yield database
    database.close()


@pytest.fixture(scope="session")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make what `dwell demo` makes, without the report; copy it before changing anything."""
    folder = tmp_path_factory.mktemp("demonstration") / "demo"
    done = CliRunner().invoke(dwell, ["demo", str(folder), "--no-report", "--quiet"])
    assert done.exit_code == 0, done.output
    return folder
