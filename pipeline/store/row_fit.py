"""The layout's rules as one condition, in words that every engine understands.

A load judges each row and says what is wrong with it. Where rows stay in an engine they are
counted, and left out, by the same declaration.
"""

from collections.abc import Sequence

from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.plan import literal


def fits(record: Record, as_of_month: str) -> str:
    """Return SQL that is true of a row that breaks no rule of its own.

    Parameters
    ----------
    as_of_month : str
        Month of extraction, YYYY-MM.
    """
    rules = [rule.holds.replace("as_of_month", literal(as_of_month)) for rule in record.rules]
    required = [f"{field.name} is not null" for field in record.fields if field.required]
    asked = [*(text for field in record.fields for text in _asked(field)), *rules]
    return " and ".join([*required, *(f"coalesce({text}, true)" for text in asked), "true"])


def _asked(field: Field) -> list[str]:
    """Return what a value of a field must be, where there is one."""
    name, found = field.name, []
    if field.codes is not None:
        found.append(f"{name} in ({', '.join(literal(code.value) for code in field.codes)})")
    if field.kind is Kind.MONTH:
        found.append(
            f"length({name}) = 7 and substr({name}, 1, 2) in ('19', '20')"
            f" and substr({name}, 5, 1) = '-' and substr({name}, 6, 2) between '01' and '12'"
        )
    if field.low is not None:
        found.append(f"{name} >= {field.low!r}")
    if field.high is not None:
        found.append(f"{name} <= {field.high!r}")
    return found


def repeated(name: str, columns: Sequence[str]) -> str:
    """Return SQL that counts the rows of a record that stand there more than once."""
    listed = ", ".join(columns)
    return (
        f"select cast(coalesce(sum(n - 1), 0) as bigint) from"
        f" (select count(*) as n from {name} group by {listed} having count(*) > 1) as several"
    )
