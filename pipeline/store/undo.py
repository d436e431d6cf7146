"""Take a load back: what it brought goes, what it replaced comes back.

Nothing is deleted: the versions that go are kept beside the others.
"""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.errors import UsageError
from pipeline.records.declaration import Record
from pipeline.records.layout import RECORDS
from pipeline.store.connection import plain_errors
from pipeline.store.kept_ready import make_ready
from pipeline.store.one_row import count_of, first_row
from pipeline.store.session import open_store

Connection = duckdb.DuckDBPyConnection


@dataclass(frozen=True)
class UndoResult:
    """What taking a load back did, by record: rows taken out and versions brought back."""

    load_id: int
    taken_out: dict[str, int]
    brought_back: dict[str, int]


def undo_load(path: Path, load_id: int) -> UndoResult:
    """Take load `load_id` back, in one transaction.

    Raises
    ------
    UsageError
        There is no such load, it was taken back already, or later loads rest on it.
    StoreError
        The store cannot be written.
    """
    with open_store(path, read_only=False) as store, plain_errors(path):
        connection = store.connection
        _may_be_undone(connection, load_id)
        connection.begin()
        undo_id = _begin(connection, load_id)
        out, back = {}, {}
        for record in reversed(RECORDS.values()):
            out[record.name] = _take_out(connection, record, load_id, undo_id)
            back[record.name] = _bring_back(connection, record, load_id, undo_id)
        for record in RECORDS.values():
            _still_whole(connection, record, load_id)
        connection.execute(
            "update set_aside set cleared_by = ? where load_id = ? and cleared_by is null",
            [undo_id, load_id],
        )
        connection.execute(
            "update set_aside set cleared_by = null where cleared_by = ? and load_id not in"
            " (select load_id from load where undone_by is not null)",
            [load_id],
        )
        make_ready(connection)
        connection.commit()
    return UndoResult(undo_id, out, back)


def _may_be_undone(connection: Connection, load_id: int) -> None:
    found = first_row(connection, "select kind, undone_by from load where load_id = ?", [load_id])
    if found is None:
        raise UsageError(f"There is no load {load_id}.", try_next="dwell status")
    kind, undone_by = found
    if kind != "load":
        raise UsageError(f"Load {load_id} took another back; it cannot be taken back itself.")
    if undone_by is not None:
        raise UsageError(f"Load {load_id} was taken back already, by {undone_by}.")


def _begin(connection: Connection, load_id: int) -> int:
    undo_id = count_of(connection, "select max(load_id) + 1 from load")
    now = dt.datetime.now(dt.UTC).replace(tzinfo=None, microsecond=0)
    connection.execute(
        "insert into load select ?, 'undo', ?, as_of, null, null, null, load_id, null"
        " from load where load_id = ?",
        [undo_id, now, load_id],
    )
    connection.execute("update load set undone_by = ? where load_id = ?", [undo_id, load_id])
    return int(undo_id)


def _take_out(connection: Connection, record: Record, load_id: int, undo_id: int) -> int:
    name = record.name
    mine = f"load_id = {load_id}"
    if name == "site":  # one that was only named by an episode stays while another names it
        mine += " and (file_id is not null or site not in (select site from episode))"
    count = count_of(
        connection,
        f"insert into {name}_version select *, {undo_id} from {name} where {mine}",
    )
    connection.execute(f"delete from {name} where {mine}")
    return count


def _bring_back(connection: Connection, record: Record, load_id: int, undo_id: int) -> int:
    """Bring back, of every key taken out, the newest version whose load still stands."""
    name, key = record.name, record.key
    columns = ", ".join((*record.columns, "load_id", "file_id", "source_row"))
    latest = (
        f"select * from {name}_version v where {key} in"
        f" (select {key} from {name}_version where replaced_by = {undo_id} and load_id = {load_id})"
        " and load_id not in (select load_id from load where undone_by is not null)"
        f" qualify row_number() over (partition by {key} order by load_id desc) = 1"
    )
    count = count_of(connection, f"insert into {name} select {columns} from ({latest})")
    connection.execute(
        f"delete from {name}_version v using {name} c"
        f" where v.{key} = c.{key} and v.load_id = c.load_id"
    )
    return count


def _still_whole(connection: Connection, record: Record, load_id: int) -> None:
    """Refuse where other loads rest on what was taken out; the transaction is given up."""
    for field in record.fields:
        if field.refers_to is None:
            continue
        other = RECORDS[field.refers_to]
        resting = first_row(
            connection,
            f"select count(*), min(c.load_id) from {record.name} c"
            f" anti join {other.name} o on o.{other.key} = c.{field.name}",
        )
        if resting and resting[0]:
            raise UsageError(
                f"Load {resting[1]} rests on load {load_id}: {resting[0]:,} rows of"
                f" {record.name} would be without their {other.name}.",
                try_next=f"dwell undo {resting[1]} first",
            )
