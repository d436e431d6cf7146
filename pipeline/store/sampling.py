"""The header of an export and some values of each column, to draft a mapping from."""

from pathlib import Path

import duckdb

from pipeline.records.binding import alias
from pipeline.records.export_column import ExportColumn
from pipeline.records.plan import literal
from pipeline.records.screens import CELL_SCREENS, every_pattern
from pipeline.records.sources import look_at
from pipeline.store.connection import plain_errors
from pipeline.store.reading import relation_of

MOST_VALUES = 60
MOST_ROWS = 20_000


def sample_columns(path: Path) -> list[ExportColumn]:
    """Return the columns of a CSV, XLSX or Parquet file with up to 60 distinct values each.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    source = look_at("", path)
    with duckdb.connect() as connection, plain_errors(path):
        with relation_of(connection, source, patient=True) as relation:
            connection.execute(
                f"create temp table sample as from ({relation.sql}) limit {MOST_ROWS}"
            )
        return [
            _sampled(connection, name, position) for position, name in enumerate(relation.columns)
        ]


def _sampled(connection: duckdb.DuckDBPyConnection, name: str, position: int) -> ExportColumn:
    cell = alias(position)
    private = literal(every_pattern(CELL_SCREENS))
    found = connection.execute(
        f"select trim({cell}::varchar) as v, regexp_matches(v, {private})"
        f" from sample where v <> '' group by v order by count(*) desc, v limit {MOST_VALUES}"
    ).fetchall()
    return ExportColumn(name, tuple(value for value, _ in found), any(looks for _, looks in found))
