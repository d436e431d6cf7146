"""Bind the columns of a file to the columns of the layout: an allow-list."""

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from pipeline.errors import InputError
from pipeline.records.declaration import Record
from pipeline.records.plan import CellSql, literal, type_fits

# Columns that `dwell rejects` adds to what it exports, and that a load understands.
SET_ASIDE_ID, PROBLEM, CONFIRMED = "set_aside_id", "problem", "confirmed"
OWN_COLUMNS = (SET_ASIDE_ID, PROBLEM, CONFIRMED)


@dataclass(frozen=True)
class Binding:
    """What is read of a file.

    Attributes
    ----------
    cells : dict of str to Cell
        By column of the layout.
    kept : dict of str to str
        By the name under which a rejected row keeps it: SQL for the text.
    own : dict of str to str
        Columns of `OWN_COLUMNS` that the file carries: SQL for the text.
    leaves_out : bool
        The mapping ignores columns of the file, or drops clock times once they are read.
    """

    cells: dict[str, CellSql]
    kept: dict[str, str]
    own: dict[str, str]
    leaves_out: bool = False


def alias(position: int) -> str:
    """Name that a file's column has in SQL: its own could clash with the layout's."""
    return f"s_{position}"


def cell_of(position: int, type_: str) -> CellSql:
    """Return the cell of the column at `position`."""
    if type_.upper().startswith(("ENUM", '"NULL"', "NULL")):
        return CellSql(f"{alias(position)}::varchar")
    return CellSql(alias(position), type_.split("(", maxsplit=1)[0].upper())


def cells_of(columns: Mapping[str, str]) -> dict[str, CellSql]:
    """Return the cell of each column of a file, by its name in the header.

    In rows that `dwell rejects` exported, an apostrophe keeps a spreadsheet program from
    running what follows it; see :func:`pipeline.outputs.spreadsheet_text`.
    """
    cells = {name: cell_of(i, type_) for i, (name, type_) in enumerate(columns.items())}
    if SET_ASIDE_ID not in columns:
        return cells
    mark = literal("^'")
    return {
        name: replace(cell, text=f"regexp_replace({cell.text}, {mark}, '')")
        if cell.type_ == "VARCHAR"
        else cell
        for name, cell in cells.items()
    }


def bind(
    record: Record, columns: Mapping[str, str], file_name: str, *, drop_unknown: bool = False
) -> Binding:
    """Bind a file in the canonical layout.

    Parameters
    ----------
    columns : mapping of str to str
        The file's header in order, each with its database type.
    drop_unknown : bool
        Leave out a column that is not in the layout, in place of an error.

    Raises
    ------
    InputError
        A column is not in the layout, a required one is missing, or one is of a
        type that cannot hold what the layout says.
    """
    if not set(columns) & set(record.columns):
        raise no_header(record, file_name)
    cells: dict[str, CellSql] = {}
    kept: dict[str, str] = {}
    own: dict[str, str] = {}
    for name, cell in cells_of(columns).items():
        if name in OWN_COLUMNS:
            own[name] = f"{cell.text}::varchar"
            continue
        if name not in record.columns and drop_unknown:
            continue
        if name not in record.columns:
            raise unknown_column(record, name, file_name, columns, record.columns)
        if not type_fits(record.field(name), columns[name]):
            raise InputError(
                f"{file_name}: column {name} is stored as {columns[name].lower()};"
                f" the layout has {record.field(name).kind.value}."
            )
        cells[name] = cell
        kept[name] = f"{cell.text}::varchar"
    require(record, cells, file_name)
    return Binding(cells, kept, own)


def require(record: Record, cells: Mapping[str, CellSql], file_name: str) -> None:
    """Raise `InputError` where a required column has no source."""
    for field in record.fields:
        if field.required and field.name not in cells:
            raise InputError(
                f"{file_name}: column {field.name} is missing; {record.name} needs it."
            )


def no_header(record: Record, file_name: str) -> InputError:
    """Say that the first row names no column; what it holds may be cells, and is not repeated."""
    return InputError(
        f"{file_name}: the first row names no column of {record.name}; nothing was loaded.",
        try_next="a header row above the data, or the site's mapping",
    )


def unknown_column(
    record: Record, name: str, file_name: str, columns: Iterable[str], expected: Iterable[str]
) -> InputError:
    """Say that a column is not allowed, and what it may have been meant to be.

    Parameters
    ----------
    columns : iterable of str
        The file's header.
    expected : iterable of str
        Names that a header of this file would have. Where it has few of them, the first row
        may hold cells, and the column is told by its place.
    """
    header = list(columns)
    is_header = len({*header} & {*expected}) >= len(header) / 2
    said = f"column {name if is_header and name.isprintable() else header.index(name) + 1}"
    near = difflib.get_close_matches(name.lower().replace(" ", "_"), record.columns, n=1)
    hint = f"{near[0]}, or " if near else ""
    return InputError(
        f"{file_name}: {said} is not in the layout of {record.name}; nothing was loaded.",
        try_next=f"{hint}name it under `ignore` in the site's mapping",
    )
