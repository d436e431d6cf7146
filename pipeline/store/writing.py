"""Write judged rows: new ones, corrections with the versions they replace, set-aside ones."""

from dataclasses import dataclass
from typing import NamedTuple

import duckdb

from pipeline.records.binding import SET_ASIDE_ID
from pipeline.records.plan import literal, quote
from pipeline.store.one_row import count_of
from pipeline.store.reading import relation_of
from pipeline.store.row_rules import good
from pipeline.store.screening import screen_kept
from pipeline.store.staging import Staged, is_blank, raw_json, stored, with_placement

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
    rows_in: int = 0
    new: int = 0
    corrected: int = 0
    unchanged: int = 0
    set_aside: int = 0

    def balances(self) -> bool:
        """Whether every row that came in is accounted for."""
        return self.rows_in == self.new + self.corrected + self.unchanged + self.set_aside


def write(connection: Connection, staged: Staged, faults: str, origin: Origin) -> FileCounts:
    """Write one file's rows; the caller holds the transaction."""
    known = f"known_{staged.table}"
    _compare(connection, staged, faults, known)
    corrected = count_of(connection, f"select count(*) from {known} where not same")
    unchanged = count_of(connection, f"select count(*) from {known} where same")
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
    return count_of(
        connection,
        f"insert into {staged.record.name} select {stored(staged.record)}, ?, ?, row"
        f" from {good(staged, faults)} s"
        f" where not exists (from {known} k where k.row = s.row and k.same)",
        [*origin],
    )


def _set_aside(connection: Connection, staged: Staged, faults: str, origin: Origin) -> int:
    """Keep the rows with a fault, but for those that are kept already."""
    sent = f"sent_{staged.table}"
    connection.execute(
        f"create or replace temp table {sent} as select f.*, null::varchar as raw,"
        " false as is_blank, null::varchar as record_key, null::integer as set_aside_id"
        f" from {faults} f limit 0"
    )
    count = count_of(connection, f"select count(*) from {faults}")
    if count:
        _read_again(connection, staged, faults, sent)
        screen_kept(connection, staged, sent)
    _clear(connection, staged, sent, origin.load_id)
    connection.execute(
        "insert into set_aside select (select coalesce(max(set_aside_id), 0) from set_aside)"
        " + row_number() over (order by row), ?, ?, ?, record_key, row, column_name, rule,"
        f" questioned, raw, null from {sent} where set_aside_id is null",
        [*origin, staged.record.name],
    )
    return count


def _read_again(connection: Connection, staged: Staged, faults: str, sent: str) -> None:
    """Read the text of the rows with a fault, which are few; find those kept already.

    A row kept without its cells is known by file and row, any other by its text.
    """
    blank = is_blank(staged.binding)
    with relation_of(connection, staged.source, patient=staged.patient) as relation:
        connection.execute(
            f"insert into {sent} with whole as (select row, {raw_json(staged.binding, blank)}"
            f" as raw, ({blank}) as is_blank, fault"
            f" from ({with_placement(staged.source, relation)})),"
            f" sent as (select f.row, f.column_name, f.rule || case when is_blank then"
            " ' (' || fault || '), which are not kept' else '' end as rule, f.questioned,"
            f" raw, is_blank from {faults} f join whole using (row)),"
            " kept as (from set_aside join load_file using (file_id)"
            f" where cleared_by is null and set_aside.record = '{staged.record.name}')"
            f" select sent.*, case when not is_blank then {quote(staged.record.key)} end,"
            f" kept.set_aside_id from sent join {staged.table} using (row) left join kept"
            " on kept.raw = sent.raw and kept.rule = sent.rule"
            " and kept.column_name is not distinct from sent.column_name"
            " and (not is_blank or (kept.source_row = row"
            f" and kept.file_name = {literal(staged.source.path.name)}))"
            " qualify row_number() over (partition by row order by kept.set_aside_id) = 1"
        )


def _clear(connection: Connection, staged: Staged, sent: str, load_id: int) -> None:
    """Close the set-aside rows that this file brings again, loaded or with another fault."""
    connection.execute(
        "update set_aside set cleared_by = ? where record = ? and cleared_by is null"
        f" and not exists (from {sent} s where s.raw = set_aside.raw and s.rule = set_aside.rule"
        " and s.set_aside_id is not null"
        " and (not s.is_blank or s.set_aside_id = set_aside.set_aside_id))"
        f" and (set_aside_id in (select {SET_ASIDE_ID} from {staged.table})"
        f" or record_key in (select {staged.record.key} from {staged.table}))",
        [load_id, staged.record.name],
    )
