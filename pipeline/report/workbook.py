"""`tables.xlsx`: the tables of a report, one sheet each, numbers as numbers."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FILE = "tables.xlsx"
_SHEET_NAME_MAX = 31  # of the format
_WIDTH_MAX = 60
# A fixed date, so that the same tables are the same file.
_CREATED = dt.datetime(2000, 1, 1)
_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r")

Cell = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table: a name of its own, a heading a column, typed cells, and what a row is."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""


def inert(value: str) -> str:
    """Return text that no spreadsheet takes for a formula.

    The cells are written as text in any case; the apostrophe keeps them text
    when a sheet is saved as CSV and opened again.
    """
    return f"'{value}" if value.startswith(_STARTS_FORMULA) else value


def write_workbook(sheets: Sequence[Sheet], path: Path, mark: str = "") -> None:
    """Write a sheet of contents, then one a table, with frozen headings and filters.

    Parameters
    ----------
    sheets : sequence of Sheet
        The tables; names are cut to 31 characters and must differ then.
    path : Path
        The file.
    mark : str
        A line above every printed page, and among the file's properties.
    """
    import xlsxwriter

    options = {"strings_to_formulas": False, "strings_to_urls": False, "nan_inf_to_errors": False}
    with xlsxwriter.Workbook(str(path), options) as book:
        about = {"title": "Tables of the report", "comments": mark, "created": _CREATED}
        book.set_properties(about)
        formats = {
            "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True}),
            "note": book.add_format({"italic": True, "font_color": "#57606A"}),
        }
        for sheet in (_contents(sheets), *sheets):
            page = book.add_worksheet(sheet.name[:_SHEET_NAME_MAX])
            page.set_header(f"&L{mark}" if mark else "")
            _write_sheet(page, sheet, formats)


def _contents(sheets: Sequence[Sheet]) -> Sheet:
    """Return the first sheet: what is where."""
    rows = tuple((s.name[:_SHEET_NAME_MAX], len(s.rows), ", ".join(s.columns)) for s in sheets)
    return Sheet("Contents", ("Sheet", "Rows", "Columns"), rows)


def _write_sheet(page: Any, sheet: Sheet, formats: dict[str, Any]) -> None:
    for column, heading in enumerate(sheet.columns):
        page.write_string(0, column, inert(heading), formats["head"])
        page.set_column(column, column, _width(sheet, column))
    for number, row in enumerate(sheet.rows, start=1):
        for column, value in enumerate(row):
            _write_cell(page, number, column, value)
    page.freeze_panes(1, 1)
    if sheet.rows:
        page.autofilter(0, 0, len(sheet.rows), len(sheet.columns) - 1)
    if sheet.note:
        page.write_string(len(sheet.rows) + 2, 0, inert(sheet.note), formats["note"])


def _write_cell(page: Any, row: int, column: int, value: Cell) -> None:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        page.write_blank(row, column, None)
    elif isinstance(value, bool):
        page.write_boolean(row, column, value)
    elif isinstance(value, int | float):
        page.write_number(row, column, value)
    else:
        page.write_string(row, column, inert(value))


def _width(sheet: Sheet, column: int) -> float:
    longest = max([len(str(row[column])) for row in sheet.rows], default=0)
    # Headings wrap, numbers do not.
    return min(_WIDTH_MAX, max(10, longest + 2, len(sheet.columns[column]) * 0.7))
