"""Judge staged rows against each other and against the store.

Every row has at most one fault, the first found: what is wrong with the row by
itself, then a repeated key, then a record it refers to that is not there, then a
place that is taken.
"""

import duckdb

from pipeline.records.declaration import Record
from pipeline.records.layout import RECORDS
from pipeline.records.plan import literal
from pipeline.store.one_row import count_of
from pipeline.store.staging import Staged

Connection = duckdb.DuckDBPyConnection


def judge_rows(connection: Connection, staged: Staged, load_id: int) -> str:
    """Write the faults of `staged` to a temporary table and return its name.

    The records that it refers to are in the store already, those of this load too.
    """
    faults = f"fault_{staged.table}"
    connection.execute(
        f"create or replace temp table {faults}"
        " (row bigint, column_name varchar, rule varchar, questioned boolean)"
    )
    _by_itself(connection, staged, faults)
    _repeated_keys(connection, staged, faults, load_id)
    for field in staged.record.fields:
        if field.refers_to is not None:
            _missing_reference(connection, staged, faults, field.name, field.refers_to)
    for columns in staged.record.unique:
        while _taken(connection, staged, faults, columns):
            pass  # a row set aside leaves its stored version in place, which may take another's
    return faults


def good(staged: Staged, faults: str) -> str:
    """Return SQL for the rows of `staged` that have no fault."""
    return (
        f"(select * from {staged.table} s where not exists (from {faults} f where f.row = s.row))"
    )


def _by_itself(connection: Connection, staged: Staged, faults: str) -> None:
    listed = connection.execute(
        f"select distinct check_no from {staged.table} where check_no is not null"
    ).fetchall()
    for (number,) in listed:
        check = staged.checks[number]
        connection.execute(
            f"insert into {faults} select row, ?, ?, ? from {staged.table} where check_no = ?",
            [check.column, check.rule, check.questioned, number],
        )


def _repeated_keys(connection: Connection, staged: Staged, faults: str, load_id: int) -> None:
    """Set every row of a repeated key aside: which one is right cannot be told."""
    key = staged.record.key
    connection.execute(
        f"insert into {faults} select row, '{key}', 'must appear once in a file', false"
        f" from {good(staged, faults)} where {key} in (select {key} from {staged.table}"
        f" where {key} is not null group by {key} having count(*) > 1)"
    )
    connection.execute(
        f"insert into {faults} select s.row, '{key}', 'must appear in one file of a load', false"
        f" from {good(staged, faults)} s join {staged.record.name} c using ({key})"
        " where c.load_id = ? and c.file_id is not null",
        [load_id],
    )


def _missing_reference(
    connection: Connection, staged: Staged, faults: str, column: str, other: str
) -> None:
    key = RECORDS[other].key
    rule = f"must be a stored {key}" if other != "site" else "must be listed in the site table"
    connection.execute(
        f"insert into {faults} select row, '{column}', {literal(rule)}, false"
        f" from {good(staged, faults)} s anti join {other} o on o.{key} = s.{column}"
    )


def _taken(connection: Connection, staged: Staged, faults: str, columns: tuple[str, ...]) -> bool:
    """Set rows aside that would share a place with another; whether there were any."""
    record, listed = staged.record, ", ".join(columns)
    words = f"must be unique within {' and '.join(columns[:-1])}"
    before = count_of(connection, f"select count(*) from {faults}")
    connection.execute(
        f"insert into {faults} with good as {good(staged, faults)}, places as ("
        f" select {listed} from good union all {_staying(record, listed)}),"
        f" crowded as (select {listed} from places group by {listed} having count(*) > 1)"
        f" select row, '{columns[-1]}', {literal(words)}, false"
        f" from good semi join crowded using ({listed})"
    )
    return count_of(connection, f"select count(*) from {faults}") > before


def _staying(record: Record, listed: str) -> str:
    """Return SQL for the places of stored rows that this file does not correct."""
    return f"select {listed} from {record.name} c anti join good g using ({record.key})"
