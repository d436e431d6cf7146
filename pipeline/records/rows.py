"""Read untidy CSV files and workbooks row by row.

Slower than the database's own reader and more patient: it numbers rows as a
spreadsheet does, and keeps a row that has too few or too many cells.
"""

import csv
from collections.abc import Iterator
from typing import TYPE_CHECKING

from pipeline.errors import InputError
from pipeline.records.binding import alias
from pipeline.records.sources import MAX_CELL, Form, SourceFile
from pipeline.records.workbook import workbook_rows

if TYPE_CHECKING:
    import pyarrow as pa

Row = tuple[int, list[str | None]]


def read(source: SourceFile) -> tuple[tuple[str, ...], "pa.Table"]:
    """Return the columns and an Arrow table of ``row``, ``fault``, ``s_0``, ``s_1``, ….

    Raises
    ------
    InputError
        The file is damaged or is not what its name says.
    """
    if source.form is Form.XLSX:
        columns, rows = workbook_rows(source)
    else:
        columns, rows = source.columns, _csv_rows(source)
    return columns, _table(columns, rows)


def _table(columns: tuple[str, ...], rows: Iterator[Row]) -> "pa.Table":
    import pyarrow as pa

    width = len(columns)
    numbers: list[int] = []
    faults: list[str | None] = []
    cells: list[list[str | None]] = [[] for _ in columns]
    for number, row in rows:
        numbers.append(number)
        ragged = len(row) != width and not (len(row) > width and not any(row[width:]))
        faults.append(_ragged(len(row), width) if ragged else None)
        for position, column in enumerate(cells):
            column.append(row[position] if position < len(row) else None)
    names = ["row", "fault", *(alias(i) for i in range(width))]
    types = [pa.int64(), *[pa.string()] * (width + 1)]
    return pa.table(
        [pa.array(v, type=t) for v, t in zip([numbers, faults, *cells], types, strict=True)],
        names=names,
    )


def _ragged(found: int, width: int) -> str:
    return f"{found} in place of {width}"


def _csv_rows(source: SourceFile) -> Iterator[Row]:
    csv.field_size_limit(MAX_CELL)
    number = 0
    with source.path.open(encoding=source.encoding, newline="") as file:
        reader = csv.reader(file, delimiter=source.delimiter, strict=True)
        try:
            for row in reader:
                number += 1
                if number > source.header_row and any(cell.strip() for cell in row):
                    yield number, [cell.replace("\0", "") or None for cell in row]
        except csv.Error as error:
            what = f"a cell has more than {MAX_CELL:,} characters"
            what = what if "limit" in str(error) else "the quotes do not match"
            raise InputError(f"{source.path.name}, row {number + 1}: {what}.") from None
        except UnicodeError:
            raise InputError(f"{source.path.name} is not written in {source.encoding}.") from None
