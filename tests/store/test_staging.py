"""Rows of a CSV file keep the numbers that a reader finds there."""

from pathlib import Path

import duckdb
import pytest

from pipeline.records.folder import find_sources
from pipeline.records.layout import RECORDS
from pipeline.store.staging import stage


class Watched:
    """A connection that looks at the plan of every table that it makes."""

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self._connection, self.plans = connection, list[str]()

    def execute(self, sql: str, *given: object) -> duckdb.DuckDBPyConnection:
        if " temp table " in sql:
            (told,) = self._connection.execute(f"explain (format json) {sql}").fetchall()
            self.plans.append(told[1])
        return self._connection.execute(sql, *given)


@pytest.mark.parametrize("name", RECORDS)
def test_nothing_between_file_and_table_changes_the_order_of_rows(
    name: str, tmp_path: Path
) -> None:
    """A hash join gives rows as its threads are done with them; reading and casting do not."""
    columns = RECORDS[name].columns
    lines = [",".join(columns), *(f"k{i}" + "," * (len(columns) - 1) for i in range(3))]
    (tmp_path / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (source,) = find_sources(tmp_path)
    with duckdb.connect() as connection:
        watched = Watched(connection)
        staged = stage(watched, source, 1, "2026-01")
        (plan,) = watched.plans
        assert "READ_CSV" in plan
        assert "JOIN" not in plan
        rows = connection.execute(f"select row, {columns[0]} from {staged.table}").fetchall()
        assert rows == [(2, "k0"), (3, "k1"), (4, "k2")]
