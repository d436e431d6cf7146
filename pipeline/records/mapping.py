"""How one site's export is mapped onto the layout, from a TOML file.

    name = "curlew, ward system"

    [episode]                     # one table a record
    file = "placements*.csv"      # the one file that this pattern finds
    delimiter = ";"
    encoding = "latin-1"
    decimal = ","
    clock = "%d.%m.%Y %H:%M"      # how clock times are written
    missing = ["n/a"]             # spellings of nothing
    yes = ["J"]
    no = ["N"]
    ignore = ["Ward"]             # never read, never stored

    [episode.columns]             # column of the layout = where it comes from
    episode_id = "Case"
    site = { constant = "curlew" }
    weight_kg = { column = "Weight", unit = "lb" }
    surgeon_type = { column = "Team", values = { sports = ["Knee", "Shoulder"] } }
    placed_month = { column = "Placed", take = "month" }
    removed_h = { column = "Removed", since = "Placed" }

A column that is already named as in the layout needs no line.
"""

import hashlib
import tomllib
from collections.abc import Mapping as Dict
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from pipeline.errors import InputError
from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.layout import RECORDS
from pipeline.records.units import FACTORS

TAKES = {"month": "placed_month", "hour": "placed_hour", "order": "month_order"}
ISO_CLOCK = "%Y-%m-%d %H:%M"


@dataclass(frozen=True)
class ColumnMapping:
    """Where one column of the layout comes from.

    Attributes
    ----------
    column : str, optional
        Column of the export.
    constant : str, optional
        The same value in every row.
    unit : str, optional
        Unit of the export, turned into that of the layout.
    values : mapping of str to tuple of str
        By code of the layout: the spellings that mean it.
    yes, no : tuple of str
        Spellings of yes and no, besides those of the whole file.
    since : str, optional
        Column of a clock time; the value is the hours from it to `column`.
    years_since : str, optional
        Column of a date; the value is the whole years from it to `column`.
    take : str, optional
        What is taken of the clock time in `column`: month, hour, or order (of
        placement, among the rows of the file, within month and site).
    """

    column: str | None = None
    constant: str | None = None
    unit: str | None = None
    values: Dict[str, tuple[str, ...]] = field(default_factory=dict)
    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    since: str | None = None
    years_since: str | None = None
    take: str | None = None

    @property
    def clocks(self) -> tuple[str, ...]:
        """Columns of clock times or dates that are read and then dropped."""
        found = [name for name in (self.since, self.years_since) if name]
        if self.column and (found or self.take):
            found.insert(0, self.column)
        return tuple(found)

    @property
    def sources(self) -> tuple[str, ...]:
        """Columns of the export that are read."""
        return self.clocks or ((self.column,) if self.column else ())


@dataclass(frozen=True)
class RecordMapping:
    """How one file of the export becomes one record."""

    record: str
    file: str
    columns: Dict[str, ColumnMapping]
    delimiter: str | None = None
    encoding: str | None = None
    sheet: str | None = None
    decimal: str = "."
    clock: str = ISO_CLOCK
    missing: tuple[str, ...] = ()
    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    ignore: tuple[str, ...] = ()


@dataclass(frozen=True)
class Mapping:
    """A site's mapping; `digest` identifies its text."""

    name: str
    text: str
    digest: str
    records: Dict[str, RecordMapping]


def load_mapping(path: Path) -> Mapping:
    """Read a mapping.

    Raises
    ------
    InputError
        The file is missing or no TOML, or names something that is not there.
    """
    try:
        text = path.read_text(encoding="utf-8")
        table = tomllib.loads(text)
    except OSError:
        raise InputError(f"There is no mapping {path}.", try_next="dwell map FILE") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path.name} is not TOML: {error}.") from None
    try:
        name = str(table.pop("name", path.stem))
        records = {key: _record(key, value) for key, value in table.items()}
    except InputError as error:
        raise InputError(f"{path.name}: {error.message}", try_next=error.try_next) from None
    if not records:
        raise InputError(f"{path.name} maps no record.", try_next="dwell map FILE")
    return Mapping(name, text, hashlib.sha256(text.encode()).hexdigest(), records)


def _record(name: str, table: Any) -> RecordMapping:
    if name not in RECORDS:
        raise InputError(f"[{name}] is none of the records {', '.join(RECORDS)}.")
    if not isinstance(table, dict) or not isinstance(table.get("file"), str):
        raise InputError(f"[{name}] needs `file`, the name of the export's file.")
    table = dict(table)
    columns = table.pop("columns", {})
    _known(table, RecordMapping, f"[{name}]", leave_out=("record", "columns"))
    _texts(table, f"[{name}]")
    lists = {key: tuple(table[key]) for key in ("missing", "yes", "no", "ignore") if key in table}
    record = RECORDS[name]
    mapped = {key: _column(record, key, value) for key, value in columns.items()}
    result = RecordMapping(name, columns=mapped, **{**table, **lists})
    _ignored_is_unused(result)
    return result


def _ignored_is_unused(mapping: RecordMapping) -> None:
    for name, column in mapping.columns.items():
        both = set(column.sources) & set(mapping.ignore)
        if both:
            raise InputError(f"[{mapping.record}] {name}: {both.pop()} is ignored too.")


def _column(record: Record, name: str, value: Any) -> ColumnMapping:
    where = f"[{record.name}.columns] {name}"
    if name not in record.columns:
        raise InputError(f"{where} is not in the layout of {record.name}.")
    if isinstance(value, str):
        return ColumnMapping(column=value)
    if not isinstance(value, dict):
        raise InputError(f"{where} is a column's name or a table.")
    _known(value, ColumnMapping, where)
    table = dict(value)
    table["values"] = {code: _list(spelt, where) for code, spelt in table.get("values", {}).items()}
    _texts({key: item for key, item in table.items() if key != "values"}, where)
    for key in ("yes", "no"):
        table[key] = tuple(table.get(key, ()))
    column = ColumnMapping(**table)
    _fits(record.field(name), column, where)
    return column


def _fits(layout: Field, column: ColumnMapping, where: str) -> None:
    """Refuse what cannot be done for a column of this kind."""
    if (column.column is None) == (column.constant is None):
        raise InputError(f"{where} needs either `column` or `constant`.")
    if column.values:
        if layout.codes is None and layout.kind is not Kind.CODE:
            raise InputError(f"{where} has no codes: `values` does not fit.")
        allowed = [code.value for code in layout.codes] if layout.codes else list(column.values)
        for code in column.values:
            if code not in allowed:
                raise InputError(f"{where}: {code} is not a code of the layout.")
    if column.unit is not None and (layout.unit, column.unit) not in FACTORS:
        known = [unit for to, unit in FACTORS if to == layout.unit]
        raise InputError(
            f"{where}: unit {column.unit} is not known.",
            try_next=f"one of {', '.join(known)}" if known else None,
        )
    if column.take is not None and TAKES.get(column.take) != layout.name:
        takes = ", ".join(f"{take} for {name}" for take, name in TAKES.items())
        raise InputError(f"{where}: `take` is {takes}.")
    if column.since is not None and not layout.name.endswith("_h"):
        raise InputError(f"{where} is not in hours: `since` does not fit.")
    if column.years_since is not None and layout.name != "age_years":
        raise InputError(f"{where} is not in years: `years_since` does not fit.")


def _known(table: Dict[str, Any], shape: type, where: str, leave_out: tuple[str, ...] = ()) -> None:
    allowed = [f.name for f in fields(shape) if f.name not in leave_out]
    for key in table:
        if key not in allowed:
            raise InputError(f"{where}: {key} is unknown.", try_next=f"one of {', '.join(allowed)}")


def _texts(table: Dict[str, Any], where: str) -> None:
    """Check that lists hold texts and everything else is a text."""
    for key, value in table.items():
        if key in {"missing", "yes", "no", "ignore"}:
            _list(value, f"{where} {key}")
        elif not isinstance(value, str):
            raise InputError(f"{where}: {key} must be a text in quotes.")


def _list(value: Any, where: str) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise InputError(f"{where} must be a list of texts in quotes.")
    return tuple(value)
