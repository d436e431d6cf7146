"""Read a site's mapping from its file; every fault in it is told with its line."""

import codecs
import hashlib
import re
import tomllib
from collections.abc import Mapping as Dict
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from pipeline.errors import InputError
from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.key_forms import DECLARED
from pipeline.records.layout import RECORDS
from pipeline.records.mapping import LISTS, TAKES, ColumnMapping, Mapping, RecordMapping
from pipeline.records.units import FACTORS


class _FaultError(Exception):
    """What is wrong in a mapping, and the tables and key under which it stands."""

    def __init__(self, place: Sequence[str], said: str, try_next: str | None = None) -> None:
        super().__init__(said)
        self.place, self.said, self.try_next = place, said, try_next


def load_mapping(path: Path) -> Mapping:
    """Read a mapping.

    Raises
    ------
    InputError
        The file is missing or no TOML, or names something that is not there; with the line.
    """
    if not path.is_file():
        raise InputError(f"There is no mapping {path}.", try_next="dwell map FILE")
    try:
        text = path.read_text(encoding="utf-8")
        table = tomllib.loads(text)
    except OSError:
        raise InputError(f"The mapping {path} cannot be read.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path.name} is not TOML: {error}.") from None
    except RecursionError:
        raise InputError(f"{path.name} is nested too deep for a mapping.") from None
    try:
        name = table.pop("name", path.stem)
        if not isinstance(name, str) or not name.isprintable():
            raise _FaultError(["name"], "is a text in quotes.")
        records = {key: _record(key, value) for key, value in table.items()}
    except _FaultError as fault:
        where = f"{path.name}, line {_line_of(text, fault.place)}: {_spelt_out(fault.place)}"
        raise InputError(f"{where} {fault.said}", try_next=fault.try_next) from None
    if not records:
        raise InputError(f"{path.name} maps no record.", try_next="dwell map FILE")
    return Mapping(name, text, hashlib.sha256(text.encode()).hexdigest(), records)


def _spelt_out(place: Sequence[str]) -> str:
    """Return tables in brackets and the key after them, as the file has them."""
    tables, keys = (place[:2], place[2:]) if place[1:2] == ["columns"] else (place[:1], place[1:])
    if place == ["name"]:
        return "name"
    return " ".join([f"[{'.'.join(tables)}]", *keys[:1], *(f"`{key}`" for key in keys[1:])])


def _line_of(text: str, place: Sequence[str]) -> int:
    """Return the line of a key, or of the table that it would stand in, counted from 1."""
    table, best = "", (0, 1)
    for number, line in enumerate(text.splitlines(), 1):
        head = re.match(r"\s*\[+([^\]]+)\]", line)
        if head:
            table = re.sub(r"[\s\"']", "", head[1])
        key = re.match(r"\s*[\"']?([\w-]+)", line) if not head else None
        here = [part for part in (*table.split("."), key[1] if key else "") if part]
        depth = len(here)
        if here == list(place[:depth]) and depth > best[0]:
            best = (depth, number)
    return best[1]


def _record(name: str, table: Any) -> RecordMapping:
    if name not in RECORDS:
        raise _FaultError([name], f"is none of the records {', '.join(RECORDS)}.")
    if not isinstance(table, dict) or not isinstance(table.get("file"), str) or not table["file"]:
        raise _FaultError([name, "file"], "must name the export's file.")
    table = dict(table)
    columns = table.pop("columns", {})
    if not isinstance(columns, dict):
        raise _FaultError(
            [name, "columns"], "is a table: column of the layout = column of the export."
        )
    _known(table, RecordMapping, [name], leave_out=("record", "columns"))
    for key, value in table.items():
        _text_or_texts(value, [name, key])
        _written(key, value, [name, key])
    lists = {key: tuple(table[key]) for key in LISTS if key in table}
    mapped = {key: _column(RECORDS[name], key, value) for key, value in columns.items()}
    result = RecordMapping(name, columns=mapped, **{**table, **lists})
    _ignored_is_unused(result)
    return result


def _written(key: str, value: Any, place: Sequence[str]) -> None:
    """Refuse ways of writing a file that there are not."""
    if key == "delimiter" and (len(value) != 1 or value.isalnum() or value in '"\r\n'):
        raise _FaultError(place, "is one character, such as ; or a tab.")
    if key == "decimal" and value not in {".", ","}:
        raise _FaultError(place, "is a point or a comma.")
    if key == "clock" and not _is_clock(value):
        raise _FaultError(place, "says how clock times are written.", "%d.%m.%Y %H:%M")
    if key == "encoding":
        try:
            "".encode(codecs.lookup(value).name)
        except (LookupError, ValueError):
            raise _FaultError(place, "is not known.", "utf-8, latin-1, cp1252 or utf-16") from None


def _is_clock(form: str) -> bool:
    """Whether a format tells a day, in directives that the database knows too."""
    found = re.findall("%(-?.)", form)
    days = [{"Y", "y"}, {"m", "b", "B", "-m"}, {"d", "-d"}]
    known = set("YymbBdHIMSfpjaA") | {f"-{c}" for c in "mdHIMS"}
    return {*found} <= known and (all(part & {*found} for part in days) or {"Y", "j"} <= {*found})


def _ignored_is_unused(mapping: RecordMapping) -> None:
    for name, column in mapping.columns.items():
        both = set(column.sources) & set(mapping.ignore)
        if both:
            raise _FaultError([mapping.record, "columns", name], f"{both.pop()} is ignored too.")


def _column(record: Record, name: str, value: Any) -> ColumnMapping:
    place = [record.name, "columns", name]
    if name not in record.columns:
        raise _FaultError(place, f"is not in the layout of {record.name}.")
    if isinstance(value, str):
        value = {"column": value}
    if not isinstance(value, dict):
        raise _FaultError(place, "is a column's name or a table.")
    _known(value, ColumnMapping, place)
    table = dict(value)
    spelt = table.pop("values", {})
    if not isinstance(spelt, dict):
        raise _FaultError([*place, "values"], 'is a table: { code = ["spelling"] }.')
    for key, item in table.items():
        _text_or_texts(item, [*place, key])
    lists = {key: tuple(table[key]) for key in ("yes", "no") if key in table}
    values = {code: _texts(item, [*place, "values"]) for code, item in spelt.items()}
    column = ColumnMapping(**{**table, **lists, "values": values})
    _fits(record.field(name), column, place)
    return column


def _fits(layout: Field, column: ColumnMapping, place: Sequence[str]) -> None:
    """Refuse what cannot be done for a column of this kind."""
    if (not column.column and not column.constant) or (column.column and column.constant):
        raise _FaultError(place, "needs either `column` or `constant`.")
    if column.values:
        _codes_fit(layout, column, place)
    if column.unit is not None and (layout.unit, column.unit) not in FACTORS:
        known = [unit for to, unit in FACTORS if to == layout.unit]
        offered = f"one of {', '.join(known)}" if known else None
        raise _FaultError([*place, "unit"], f"{column.unit} is not known.", offered)
    if column.form is not None and not (
        layout.kind is Kind.KEY and DECLARED.fullmatch(column.form)
    ):
        said = "is that of a key: A for a letter, 9 for a digit, X for either, one 9 or X at least."
        raise _FaultError([*place, "form"], said, 'form = "AA9999"')
    if column.take is not None and TAKES.get(column.take) != layout.name:
        takes = ", ".join(f"{take} for {name}" for take, name in TAKES.items())
        raise _FaultError([*place, "take"], f"is {takes}.")
    if column.since is not None and not layout.name.endswith("_h"):
        raise _FaultError([*place, "since"], "does not fit: the column is not in hours.")
    if column.years_since is not None and layout.name != "age_years":
        raise _FaultError([*place, "years_since"], "does not fit: the column is not in years.")


def _codes_fit(layout: Field, column: ColumnMapping, place: Sequence[str]) -> None:
    if layout.codes is None and layout.kind is not Kind.CODE:
        raise _FaultError([*place, "values"], "does not fit: the column has no codes.")
    allowed = [code.value for code in layout.codes] if layout.codes else list(column.values)
    for code in column.values:
        if code not in allowed:
            raise _FaultError([*place, "values"], f"{code} is not a code of the layout.")


def _known(
    table: Dict[str, Any], shape: type, place: Sequence[str], leave_out: tuple[str, ...] = ()
) -> None:
    allowed = [f.name for f in fields(shape) if f.name not in leave_out]
    for key in table:
        if key not in allowed:
            raise _FaultError([*place, key], "is unknown.", f"one of {', '.join(allowed)}")


def _text_or_texts(value: Any, place: Sequence[str]) -> None:
    """Check that what holds several texts is a list, and everything else a text."""
    if place[-1] in LISTS:
        _texts(value, place)
    elif not isinstance(value, str):
        raise _FaultError(place, "must be a text in quotes.")


def _texts(value: Any, place: Sequence[str]) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise _FaultError(place, "must be a list of texts in quotes.")
    return tuple(value)
