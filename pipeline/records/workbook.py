"""Read a workbook's sheet, after a look at how far its cells reach.

The reader takes a sheet as a full rectangle: one stray cell in the last row would take
gigabytes. Merged cells would lose all values but the first. Both are refused.
"""

import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import InputError
from pipeline.records.sources import SourceFile, check_header

if TYPE_CHECKING:
    import python_calamine as calamine

MOST_AREA = 10_000_000  # cells of the rectangle that a sheet spans
MOST_UNPACKED = 2_000_000_000  # bytes; a workbook of that size is none
_CHUNK = 1 << 22
_PLACE = re.compile(rb'<(?:\w+:)?c [^>]*?r="([A-Z]{1,3})([0-9]{1,7})"')


def workbook_rows(
    source: SourceFile,
) -> tuple[tuple[str, ...], Iterator[tuple[int, list[str | None]]]]:
    """Return a sheet's header and its rows, each with its number, cells as a CSV file has them.

    Raises
    ------
    InputError
        The file is no workbook, has no such sheet, merged cells, or a cell far outside.
    """
    sheet = _sheet(source)
    name = source.path.name
    if sheet.merged_cell_ranges:
        raise InputError(
            f"{name} has merged cells, of which all but the first would be empty.",
            try_next="unmerge them and fill each cell",
        )
    rows = enumerate(sheet.to_python(skip_empty_area=False), 1)
    head: list[Any] = next((row for _, row in rows if _holds_any(row)), [])
    if not head:
        raise InputError(f"{name} is empty: it has no header.")
    header = tuple(str(cell).strip() for cell in head)
    while header and not header[-1]:
        header = header[:-1]
    check_header(header, source.path)
    return header, ((i, [_text(c) for c in row]) for i, row in rows if _holds_any(row))


def _sheet(source: SourceFile) -> "calamine.CalamineSheet":
    import python_calamine as calamine

    name = source.path.name
    try:
        _require_compact(source.path)
        book = calamine.CalamineWorkbook.from_path(str(source.path))
        names = book.sheet_names
        if source.sheet is not None and source.sheet not in names:
            raise InputError(f"{name} has no sheet {source.sheet}.")
        if source.sheet is None and len(names) > 1:
            raise InputError(f"{name} has {len(names)} sheets.", try_next="name one in the mapping")
        return book.get_sheet_by_name(source.sheet or names[0])
    except InputError:
        raise
    except Exception:
        # calamine raises several classes, all meaning the same.
        raise InputError(f"{name} is not a workbook, or is damaged.") from None


def _require_compact(path: Path) -> None:
    """Refuse a workbook with a cell so far out that the rectangle up to it cannot be held."""
    with zipfile.ZipFile(path) as packed:
        if sum(part.file_size for part in packed.infolist()) > MOST_UNPACKED:
            raise InputError(f"{path.name} is too large for a workbook: save it as CSV.")
        for part in packed.namelist():
            if re.search(r"(?i)sheets?/[^/]+\.xml$", part):
                row, column = _reach(packed, part)
                if row * column > MOST_AREA:
                    raise InputError(
                        f"{path.name} has a cell far outside its table: it reaches to row"
                        f" {row:,}, column {column:,}.",
                        try_next="delete the rows and columns outside the table, or save it as CSV",
                    )


def _reach(packed: zipfile.ZipFile, part: str) -> tuple[int, int]:
    """Return the last row and column in which a sheet has a cell."""
    last_row = last_column = 0
    tail = b""
    with packed.open(part) as sheet:
        while chunk := sheet.read(_CHUNK):
            for letters, digits in _PLACE.findall(tail + chunk):
                last_row = max(last_row, int(digits))
                last_column = max(last_column, _number_of(letters))
            tail = chunk[-100:]
    return last_row, last_column


def _number_of(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _holds_any(row: list[Any]) -> bool:
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
