"""Bind the columns of a file to the columns of the layout: an allow-list."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.errors import InputError
from pipeline.records.declaration import Record
from pipeline.records.plan import CellSql, type_fits

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
    cells: dict[str, CellSql] = {}
    kept: dict[str, str] = {}
    own: dict[str, str] = {}
    for position, (name, type_) in enumerate(columns.items()):
        cell = cell_of(position, type_)
        if name in OWN_COLUMNS:
            own[name] = f"{cell.text}::varchar"
            continue
        if name not in record.columns and drop_unknown:
            continue
        if name not in record.columns:
            raise unknown_column(record, name, file_name)
        if not type_fits(record.field(name), type_):
            raise InputError(
                f"{file_name}: column {name} is stored as {type_.lower()};"
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


def unknown_column(record: Record, name: str, file_name: str) -> InputError:
    """Say that a column is not allowed, and what it may have been meant to be."""
    near = difflib.get_close_matches(name.lower().replace(" ", "_"), record.columns, n=1)
    hint = f"{near[0]}, or " if near else ""
    return InputError(
        f"{file_name}: column {name} is not in the layout of {record.name}; nothing was loaded.",
        try_next=f"{hint}name it under `ignore` in the site's mapping",
    )
