"""Write judged rows: new ones, corrections with the versions they replace, set-aside ones."""

from dataclasses import dataclass
from typing import NamedTuple

import duckdb

from pipeline.records.binding import SET_ASIDE_ID
from pipeline.records.plan import quote
from pipeline.store.judging import good
from pipeline.store.reading import relation_of
from pipeline.store.staging import Staged, raw_json, stored

Connection = duckdb.DuckDBPyConnection


class Origin(NamedTuple):
    """Where rows come from."""

    load_id: int
    file_id: int


@dataclass(frozen=True)
class FileCounts:
    """Rows of one file: those read, and what became of them."""

    record: str
    file_name: str
    rows_in: int
    new: int
    corrected: int
    unchanged: int
    set_aside: int

    def balances(self) -> bool:
        """Whether every row that came in is accounted for."""
        return self.rows_in == self.new + self.corrected + self.unchanged + self.set_aside


def write(connection: Connection, staged: Staged, faults: str, origin: Origin) -> FileCounts:
    """Write one file's rows; the caller holds the transaction."""
    known = f"known_{staged.table}"
    _compare(connection, staged, faults, known)
    corrected, unchanged = _two(
        connection, f"select count(*) filter (not same), count(*) filter (same) from {known}"
    )
    if corrected:
        _replace(connection, staged, known, origin.load_id)
    written = _insert(connection, staged, faults, known, origin)
    set_aside = _set_aside(connection, staged, faults, origin)
    return FileCounts(
        staged.record.name,
        staged.source.path.name,
        staged.rows,
        written - corrected,
        corrected,
        unchanged,
        set_aside,
    )


def _compare(connection: Connection, staged: Staged, faults: str, known: str) -> None:
    """List the rows whose key is stored, and whether they say the same."""
    record = staged.record
    same = " and ".join(
        f"s.{name} is not distinct from c.{name}" for name in record.columns if name != record.key
    )
    connection.execute(
        f"create or replace temp table {known} as select s.row, s.{record.key}, {same} as same"
        f" from {good(staged, faults)} s join {record.name} c using ({record.key})"
    )


def _replace(connection: Connection, staged: Staged, known: str, load_id: int) -> None:
    record = staged.record
    keys = f"(select {record.key} from {known} where not same)"
    connection.execute(
        f"insert into {record.name}_version select *, ? from {record.name}"
        f" where {record.key} in {keys}",
        [load_id],
    )
    connection.execute(f"delete from {record.name} where {record.key} in {keys}")


def _insert(connection: Connection, staged: Staged, faults: str, known: str, origin: Origin) -> int:
    done = connection.execute(
        f"insert into {staged.record.name} select {stored(staged.record)}, ?, ?, row"
        f" from {good(staged, faults)} s"
        f" where not exists (from {known} k where k.row = s.row and k.same) order by row",
        [*origin],
    ).fetchone()
    return int(done[0]) if done else 0


def _set_aside(connection: Connection, staged: Staged, faults: str, origin: Origin) -> int:
    """Keep the rows with a fault whole; read them again, as they are few."""
    (count, _) = _two(connection, f"select count(*), 0 from {faults}")
    if not count:
        return 0
    with relation_of(connection, staged.source, patient=staged.patient) as relation:
        connection.execute(
            "insert into set_aside with sent as (select row, "
            f"{raw_json(staged.binding)} as raw from ({relation.sql})"
            f" where row in (select row from {faults}))"
            " select (select coalesce(max(set_aside_id), 0) from set_aside)"
            " + row_number() over (order by row), ?, ?, ?,"
            f" {quote(staged.record.key)}, row, column_name, rule, questioned, raw, null"
            f" from {faults} join sent using (row) join {staged.table} using (row)",
            [*origin, staged.record.name],
        )
    return count


def clear(connection: Connection, staged: Staged, faults: str, load_id: int) -> None:
    """Close set-aside rows that this file brings again: loaded at last, or set aside anew."""
    connection.execute(
        "update set_aside set cleared_by = ? where cleared_by is null and record = ?"
        " and load_id <> ?"
        f" and (set_aside_id in (select {SET_ASIDE_ID} from {staged.table})"
        f" or record_key in (select {staged.record.key} from {staged.table}))",
        [load_id, staged.record.name, load_id],
    )


def _two(connection: Connection, sql: str) -> tuple[int, int]:
    row = connection.execute(sql).fetchone()
    return (int(row[0]), int(row[1])) if row else (0, 0)
