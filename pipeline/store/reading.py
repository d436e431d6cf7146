"""Give every kind of file to the database as one relation.

Its columns are `row`, `fault`, and `s_0`, `s_1` and so on for those of the file.
`row` is the number that a reader finds in the file: a CSV header is row 1, and a
Parquet file, which has none, starts at 1. `fault` tells a row that has too few or
too many cells.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.errors import InputError
from pipeline.records import rows as slow
from pipeline.records.binding import alias
from pipeline.records.plan import literal, quote
from pipeline.records.sources import Form, SourceFile

Connection = duckdb.DuckDBPyConnection
FRAME = "file_as_frame"
CSV_FIRST = 1  # the row of a CSV file's header


def _as_it_is(path: Path) -> str:
    """Return a path for SQL in which nothing stands for other names."""
    return literal("".join(f"[{char}]" if char in "[*?" else char for char in str(path)))


@dataclass(frozen=True)
class Relation:
    """A readable file.

    Attributes
    ----------
    columns : dict
        Their types, by name.
    sql : str
        Selects its rows.
    in_order : str or None
        Selects them without `row`, each where it stands in the file, by all cores: while
        rows are numbered one core reads alone.
    """

    columns: dict[str, str]
    sql: str
    in_order: str | None = None


@contextmanager
def relation_of(
    connection: Connection, source: SourceFile, *, patient: bool = False
) -> Iterator[Relation]:
    """Make the rows of `source` readable in SQL.

    Parameters
    ----------
    patient : bool
        Read a CSV file row by row, which takes what the database's reader refuses.

    Raises
    ------
    InputError
        The file is damaged or is not what its name says.
    """
    if source.form is Form.PARQUET:
        yield _parquet(connection, source)
    elif source.form is Form.CSV and source.tidy and not patient:
        rows = _csv(source)
        number = f"row_number() over () + {CSV_FIRST} as row"
        yield Relation(
            dict.fromkeys(source.columns, "VARCHAR"), f"select {number}, {rows}", f"select {rows}"
        )
    else:
        columns, table = slow.read(source)
        connection.register(FRAME, table)
        try:
            yield Relation(dict.fromkeys(columns, "VARCHAR"), f"select * from {FRAME}")
        finally:
            connection.unregister(FRAME)


def _csv(source: SourceFile) -> str:
    columns = ", ".join(f"{alias(i)}: 'VARCHAR'" for i in range(len(source.columns)))
    encoding = "utf-8" if source.encoding.lower().startswith("utf") else "latin-1"
    return (
        "null::varchar as fault, * from read_csv("
        f"{_as_it_is(source.path)}, auto_detect = false, header = true, strict_mode = true,"
        f" delim = {literal(source.delimiter)}, quote = '\"', escape = '\"',"
        f" encoding = '{encoding}', max_line_size = 8000000, columns = {{{columns}}})"
    )


def _parquet(connection: Connection, source: SourceFile) -> Relation:
    path = _as_it_is(source.path)
    try:
        described = connection.execute(f"describe select * from read_parquet({path})").fetchall()
    except duckdb.Error:
        raise InputError(f"{source.path.name} is not a Parquet file, or is damaged.") from None
    columns = {str(name): str(type_) for name, type_, *_ in described}
    selected = ", ".join(f"{quote(name)} as {alias(i)}" for i, name in enumerate(columns))
    return Relation(
        columns,
        f"select file_row_number + 1 as row, null::varchar as fault, {selected}"
        f" from read_parquet({path}, file_row_number = true)",
    )
