"""Ask for one row or one number; the result is read to its end, as the database asks."""

from typing import Any

import duckdb

Parameters = list[Any] | dict[str, Any] | None


def first_row(
    connection: duckdb.DuckDBPyConnection, sql: str, params: Parameters = None
) -> tuple[Any, ...] | None:
    """Return the first row of a statement's result, or None."""
    rows = connection.execute(sql, params).fetchall()
    return rows[0] if rows else None


def count_of(connection: duckdb.DuckDBPyConnection, sql: str, params: Parameters = None) -> int:
    """Return the first value of a result as a whole number; 0 where there is none.

    The result of an insert is the number of rows that it added.
    """
    row = first_row(connection, sql, params)
    return int(row[0]) if row and row[0] is not None else 0
