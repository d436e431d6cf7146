"""Turn the declaration of a record into SQL that reads and judges every row.

For each column of the layout there is one expression that gives the typed value or
null, and checks that tell why a value could not be had. The database is never
asked to cast a value that may not fit, because its own errors quote the cell.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.records.declaration import Field, Kind, Record

NUMBERS = {"TINYINT", "SMALLINT", "INTEGER", "BIGINT", "UTINYINT", "USMALLINT", "UINTEGER",
           "UBIGINT", "HUGEINT", "FLOAT", "DOUBLE", "DECIMAL"}  # fmt: skip
WHOLE = NUMBERS - {"FLOAT", "DOUBLE", "DECIMAL"}
MONTH_PATTERN = "(19|20)[0-9]{2}-(0[1-9]|1[0-2])"
# No control characters, which a terminal would obey, and none that turn the writing round.
PRINTED_PATTERN = r"[^\x00-\x1f\x7f-\x9f\x{200b}-\x{200f}\x{202a}-\x{202e}\x{2066}-\x{2069}]{1,200}"
LIST_PATTERN = "[A-Za-z0-9_]+( *; *[A-Za-z0-9_]+)*"


_PATTERNS = {
    Kind.MONTH: MONTH_PATTERN,
    Kind.LIST: LIST_PATTERN,
    Kind.TEXT: PRINTED_PATTERN,
    Kind.CODE: PRINTED_PATTERN,  # of codes that another record lists
}


@dataclass(frozen=True)
class RowCheck:
    """One reason to set a row aside.

    Attributes
    ----------
    fails : str
        SQL over typed columns and raw ones, true where the rule is broken.
    drops_value : bool
        The typed value is null although something was sent.
    """

    column: str | None
    rule: str
    fails: str
    questioned: bool = False
    drops_value: bool = False


@dataclass(frozen=True)
class CellSql:
    """Where a column's value comes from.

    Attributes
    ----------
    text : str
        SQL for the value as it was sent (null where it is empty).
    type_ : str
        Its type in the database: VARCHAR for CSV and XLSX.
    faults : tuple of (str, str)
        What may be wrong before the value is looked at: a rule in words, and SQL
        that is true where it is broken.
    """

    text: str
    type_: str = "VARCHAR"
    faults: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class ReadingPlan:
    """How one record is read from one source."""

    values: dict[str, str]
    checks: tuple[RowCheck, ...]


def quote(name: str) -> str:
    """Quote a name for SQL."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """Quote a text for SQL."""
    return "'" + text.replace("'", "''") + "'"


def make_plan(record: Record, cells: Mapping[str, CellSql], as_of_month: str) -> ReadingPlan:
    """Compile `record` for a source that gives `cells`.

    Parameters
    ----------
    record : Record
        What the rows are.
    cells : mapping of str to Cell
        By column of the layout; a column that is not there is read as null.
    as_of_month : str
        Month of extraction, ``YYYY-MM``.
    """
    values: dict[str, str] = {}
    # Faults of what is dropped after reading come first: a corrected row has to bring it.
    checks = [
        RowCheck(name, rule, fails, drops_value=True)
        for name, cell in cells.items()
        for rule, fails in cell.faults
    ]
    for field in record.fields:
        cell = cells.get(field.name)
        values[field.name] = _value(field, cell) if cell else _nothing(field)
        checks += _checks(field, cell) if cell else []
    for rule in record.rules:
        holds = rule.holds.replace("as_of_month", literal(as_of_month))
        checks.append(RowCheck(rule.column, rule.description, f"not ({holds})", rule.questioned))
    return ReadingPlan(values, tuple(checks))


def _nothing(field: Field) -> str:
    types = {Kind.INTEGER: "double", Kind.NUMBER: "double", Kind.YES_NO: "boolean"}
    return f"null::{types.get(field.kind, 'varchar')}"


def _value(field: Field, cell: CellSql) -> str:
    """Return SQL for the typed value; integers stay doubles until they are stored."""
    text = cell.text
    if field.kind in {Kind.INTEGER, Kind.NUMBER}:
        return f"try_cast({text} as double)"
    if field.kind is Kind.YES_NO:
        return text if cell.type_ == "BOOLEAN" else _yes_no(text)
    if cell.type_ != "VARCHAR":
        return f"{text}::varchar"
    if field.codes is not None:
        return _listed(text, tuple(code.value for code in field.codes))
    pattern = _PATTERNS.get(field.kind)
    return _matching(text, pattern) if pattern else f"nullif(trim({text}), '')"


def _listed(text: str, codes: tuple[str, ...]) -> str:
    """Return SQL for one of the codes, each of which takes a byte until it is stored."""
    return f"try_cast(trim({text}) as enum ({', '.join(map(literal, codes))}))"


def _yes_no(text: str) -> str:
    return (
        f"case {text} when 'yes' then true when 'no' then false else "
        f"case lower(trim({text})) when 'yes' then true when 'no' then false end end"
    )


def _matching(text: str, pattern: str) -> str:
    return f"case when regexp_full_match(trim({text}), '{pattern}') then trim({text}) end"


def _checks(field: Field, cell: CellSql) -> list[RowCheck]:
    """Return the checks of one column, in the order in which they are told."""
    name, found = field.name, []
    if field.required:
        blank = f"{cell.text} is null"
        if cell.type_ == "VARCHAR":
            blank = f"({name} is null and ({cell.text} is null or trim({cell.text}) = ''))"
        found.append(RowCheck(name, "must not be empty", blank))
    if cell.type_ == "VARCHAR":
        unread = f"({name} is null and {cell.text} is not null and trim({cell.text}) <> '')"
        found.append(RowCheck(name, must_be(field), unread, drops_value=True))
    return found + _number_checks(field, cell)


def _number_checks(field: Field, cell: CellSql) -> list[RowCheck]:
    if field.kind not in {Kind.INTEGER, Kind.NUMBER}:
        return []
    name, found = field.name, []
    odd = []
    if cell.type_ not in WHOLE:
        odd.append(f"not isfinite({name})")
    if cell.type_ == "VARCHAR":  # 1_000 is a number to the database, not to a reader
        odd.append(f"contains({cell.text}, '_')")
    if field.kind is Kind.INTEGER and cell.type_ not in WHOLE:
        odd.append(f"{name} <> floor({name})")
    if odd:
        found.append(RowCheck(name, must_be(field), " or ".join(odd)))
    low, high = field.low, field.high
    if field.kind is Kind.INTEGER:  # nothing larger fits the store
        high = 2**31 - 1 if high is None else high
        low = -(2**31) if low is None else low
    bounds = [f"{name} < {low!r}"] if low is not None else []
    bounds += [f"{name} > {high!r}"] if high is not None else []
    if bounds:
        found.append(RowCheck(name, within(field), " or ".join(bounds)))
    return found


def must_be(field: Field) -> str:
    """Say in words what a value of `field` is."""
    if field.kind is Kind.CODE and field.codes is not None:
        return "must be one of the codes of the layout"
    return {
        Kind.INTEGER: "must be a whole number",
        Kind.NUMBER: "must be a number, such as 12 or 31.5",
        Kind.YES_NO: "must be yes or no",
        Kind.MONTH: "must be a month, YYYY-MM",
        Kind.LIST: "must be codes separated by semicolons",
    }.get(field.kind, "must be text of 200 characters at most, without control characters")


def within(field: Field) -> str:
    """Say in words which range `field` allows."""
    unit = f" {field.unit}" if field.unit and not field.unit[0].isdigit() else ""
    if field.low is not None and field.high is not None:
        return f"must lie between {field.low:g} and {field.high:g}{unit}"
    if field.low is not None:
        return f"must be at least {field.low:g}{unit}"
    return f"must be at most {2**31 - 1 if field.high is None else field.high:g}{unit}"


def type_fits(field: Field, type_: str) -> bool:
    """Whether a Parquet column of database type `type_` can hold `field`."""
    base = type_.split("(", maxsplit=1)[0].upper()
    if base == "VARCHAR" or base.startswith("ENUM") or base in {'"NULL"', "NULL"}:
        return True
    if field.kind in {Kind.INTEGER, Kind.NUMBER}:
        return base in NUMBERS
    if field.kind is Kind.YES_NO:
        return base == "BOOLEAN"
    return field.kind is Kind.KEY and base in WHOLE
