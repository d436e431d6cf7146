"""Read untidy CSV files and workbooks row by row.

Slower than the database's own reader and more patient: it numbers rows as a
spreadsheet does, and keeps a row that has too few or too many cells.
"""

import csv
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from pipeline.errors import InputError
from pipeline.records.binding import alias
from pipeline.records.sources import Form, SourceFile, check_header

if TYPE_CHECKING:
    import pyarrow as pa

Row = tuple[int, list[str | None]]
MAX_CELL = 1 << 20


def read(source: SourceFile) -> tuple[tuple[str, ...], "pa.Table"]:
    """Return the columns and an Arrow table of ``row``, ``fault``, ``s_0``, ``s_1``, ….

    Raises
    ------
    InputError
        The file is damaged or is not what its name says.
    """
    if source.form is Form.XLSX:
        columns, rows = _workbook(source)
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
    number = 1
    with source.path.open(encoding=source.encoding, newline="") as file:
        reader = csv.reader(file, delimiter=source.delimiter, strict=True)
        try:
            next(reader)
            for row in reader:
                number += 1
                if any(cell.strip() for cell in row):
                    yield number, [cell.replace("\0", "") or None for cell in row]
        except csv.Error:
            raise InputError(
                f"{source.path.name}, row {number + 1}: the quotes do not match."
            ) from None
        except UnicodeDecodeError:
            raise InputError(f"{source.path.name} is not written in {source.encoding}.") from None


def _workbook(source: SourceFile) -> tuple[tuple[str, ...], Iterator[Row]]:
    import python_calamine as calamine

    name = source.path.name
    try:
        book = calamine.CalamineWorkbook.from_path(str(source.path))
    except Exception:
        # calamine raises several classes, all meaning the same.
        raise InputError(f"{name} is not a workbook, or is damaged.") from None
    if source.sheet is not None and source.sheet not in book.sheet_names:
        raise InputError(f"{name} has no sheet {source.sheet}.")
    if source.sheet is None and len(book.sheet_names) > 1:
        raise InputError(
            f"{name} has {len(book.sheet_names)} sheets.", try_next="name one in the mapping"
        )
    values = book.get_sheet_by_name(source.sheet or book.sheet_names[0]).to_python(
        skip_empty_area=False
    )
    if not values or not any(values[0]):
        raise InputError(f"{name} is empty: it has no header.")
    header = tuple(str(cell).strip() for cell in values[0])
    while header and not header[-1]:
        header = header[:-1]
    check_header(header, source.path)
    rows = ((i, [_text(c) for c in row]) for i, row in enumerate(values[1:], 2) if any_cell(row))
    return header, rows


def any_cell(row: list[Any]) -> bool:
    """Whether a row of a workbook holds anything."""
    return any(cell not in ("", None) for cell in row)


def _text(cell: Any) -> str | None:
    """Write a workbook's cell as a CSV file would have it."""
    import datetime as dt

    if cell is None or cell == "":
        return None
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, dt.datetime | dt.date | dt.time):
        return cell.isoformat(*([" "] if isinstance(cell, dt.datetime) else []))
    return str(cell)
