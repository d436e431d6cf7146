"""The data dictionary: records from the layout, views from the store, measures from their cards."""

import difflib
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from typing import Any

from pipeline.errors import UsageError
from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.layout import RECORDS
from pipeline.store.view_descriptions import View, describe_views


@dataclass(frozen=True)
class DescribedColumn:
    """A column of a record or view.

    `allowed` is a sentence on its range or form; `codes` its closed vocabulary.
    """

    name: str
    type: str
    description: str
    required: bool = False
    unit: str | None = None
    allowed: str | None = None
    codes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class DescribedTable:
    """One record, view or measure.

    `facts` are named sentences: the rules of a record, the card of a measure.
    """

    name: str
    kind: str
    description: str
    columns: tuple[DescribedColumn, ...] = ()
    facts: dict[str, str] = field(default_factory=dict)


def entries(name: str | None = None) -> tuple[DescribedTable, ...]:
    """Return the whole dictionary, or the entry called `name`.

    Raises
    ------
    UsageError
        There is none of that name.
    """
    found = tuple(_all())
    if name is None:
        return found
    chosen = tuple(entry for entry in found if entry.name == name)
    if not chosen:
        near = difflib.get_close_matches(name, [entry.name for entry in found], n=1)
        raise UsageError(
            f"There is no record, view or measure {name}.",
            try_next=f"dwell dictionary {near[0]}" if near else "dwell dictionary, for all of them",
        )
    return chosen


def _all() -> Iterator[DescribedTable]:
    yield from map(_of_record, RECORDS.values())
    yield from map(_of_view, describe_views())
    yield from map(_of_measure, load_catalogue().values())


def _of_record(record: Record) -> DescribedTable:
    facts = {"key": record.key}
    for columns in record.unique:
        facts["unique"] = ", ".join(columns)
    facts |= {rule.name: rule.description for rule in record.rules}
    return DescribedTable(
        record.name,
        "record",
        f"One row: {record.grain}.",
        tuple(map(_of_field, record.fields)),
        facts,
    )


def _of_field(layout: Field) -> DescribedColumn:
    codes = tuple((code.value, code.meaning) for code in layout.codes or ())
    return DescribedColumn(
        layout.name,
        str(layout.kind),
        layout.description,
        layout.required,
        layout.unit,
        _allowed(layout),
        codes,
    )


def _allowed(layout: Field) -> str | None:
    if layout.refers_to:
        return f"in the {layout.refers_to} record"
    match layout.low, layout.high:
        case None, None:
            return "YYYY-MM" if layout.kind is Kind.MONTH else None
        case low, None:
            return f"{low:g} or more"
        case None, high:
            return f"up to {high:g}"
        case low, high:
            return f"{low:g} to {high:g}"


def _of_view(view: View) -> DescribedTable:
    columns = tuple(DescribedColumn(c.name, c.type, c.description) for c in view.columns)
    return DescribedTable(view.name, "view", view.description, columns)


def _of_measure(measure: Measure) -> DescribedTable:
    facts = {
        "kind": str(measure.kind),
        "numerator": measure.numerator,
        "denominator": measure.denominator,
        "left out": measure.leaves_out,
        "unit": measure.unit,
        "better": str(measure.better),
        "target": "none set" if measure.target is None else f"{measure.target:g}",
        "chart": ", ".join(measure.charts),
        "follow-up": f"{measure.follow_up_h:g} h after placement",
        "case mix": ", ".join(measure.case_mix),
        "reads": ", ".join(measure.reads),
    }
    return DescribedTable(measure.name, "measure", f"{measure.title}.", (), facts)


def as_rows(found: tuple[DescribedTable, ...]) -> list[dict[str, Any]]:
    """Return entries as plain mappings, for JSON; a code has a `code` and a `meaning`."""
    rows = [asdict(entry) for entry in found]
    for column in (column for row in rows for column in row["columns"]):
        column["codes"] = [{"code": code, "meaning": text} for code, text in column["codes"]]
    return rows


def as_markdown(found: tuple[DescribedTable, ...]) -> str:
    """Return entries as Markdown; several are put under a heading a kind."""
    if len(found) == 1:
        return "\n".join(_section(found[0], "#"))
    lines = ["# Data dictionary", ""]
    for kind in ("record", "view", "measure"):
        lines += [f"## {kind.title()}s", ""]
        for entry in found:
            if entry.kind == kind:
                lines += [*_section(entry, "###"), ""]
    return "\n".join(lines).rstrip()


def _section(entry: DescribedTable, heading: str) -> list[str]:
    lines = [f"{heading} {entry.name}", "", entry.description, ""]
    if entry.kind == "record":
        lines += [
            "| column | type | required | unit | allowed | meaning |",
            "|---|---|---|---|---|---|",
        ]
        lines += [_record_line(column) for column in entry.columns]
        lines.append("")
    elif entry.columns:
        lines += ["| column | type | meaning |", "|---|---|---|"]
        lines += [f"| {c.name} | {c.type} | {c.description} |" for c in entry.columns]
    lines += [f"- {name}: {text}" for name, text in entry.facts.items()]
    for column in entry.columns:
        if column.codes:
            lines += ["", f"Codes of {column.name}:", ""]
            lines += [f"- {code}: {meaning}" for code, meaning in column.codes]
    return lines


def _record_line(column: DescribedColumn) -> str:
    cells = (
        column.name,
        column.type,
        "yes" if column.required else "",
        column.unit or "",
        column.allowed or "",
        column.description,
    )
    return f"| {' | '.join(cells)} |"
