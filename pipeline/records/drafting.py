"""Draft a site's mapping from the header and the values of one export."""

import difflib
import re
from collections.abc import Mapping as Dict
from collections.abc import Sequence
from dataclasses import dataclass, field

from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.export_column import ExportColumn
from pipeline.records.hints import CODE_WORDS, FIELD_WORDS, MISSING, NO, UNIT_WORDS, YES
from pipeline.records.layout import RECORDS, SYMPTOMS
from pipeline.records.units import FACTORS

CLOSE_ENOUGH = 0.72  # how alike two names have to be, from 0 to 1
# One symptom must never be read as another, however alike their names are.
EXACTLY = frozenset({*SYMPTOMS, "hoarse_voice", "drooping_lid"})
MOST_CODES = 40  # a column with more distinct values holds no codes


@dataclass
class Draft:
    """A drafted mapping: its text, and what could not be matched."""

    record: str
    text: str
    unmatched: list[str] = field(default_factory=list)
    without_source: list[str] = field(default_factory=list)
    values_unmatched: dict[str, int] = field(default_factory=dict)


def draft_mapping(
    file_name: str, columns: Sequence[ExportColumn], record: str | None = None
) -> Draft:
    """Draft the mapping of one file.

    Parameters
    ----------
    file_name : str
        Name of the export.
    columns : sequence of Column
        In the order of the file.
    record : str, optional
        Which record it holds; the one that its columns fit best unless given.
    """
    chosen = RECORDS[record] if record else best_record(columns)
    matches = match_columns(chosen, columns)
    return _Writer(chosen, columns, matches).draft(file_name)


def best_record(columns: Sequence[ExportColumn]) -> Record:
    """Return the record whose layout the columns fit best."""
    return max(RECORDS.values(), key=lambda record: len(match_columns(record, columns)))


def match_columns(record: Record, columns: Sequence[ExportColumn]) -> dict[str, ExportColumn]:
    """Match columns of the layout with columns of the export, the surest first."""
    scored = sorted(
        (
            (score, -i, -j)
            for i, layout in enumerate(record.fields)
            for j, column in enumerate(columns)
            if (score := _score(layout, column)) >= CLOSE_ENOUGH
        ),
        reverse=True,
    )
    found: dict[str, ExportColumn] = {}
    taken: set[int] = set()
    for _, i, j in scored:
        name = record.fields[-i].name
        if name not in found and -j not in taken:
            found[name] = columns[-j]
            taken.add(-j)
    return {name: found[name] for name in record.columns if name in found}


def plain_name(name: str) -> str:
    """Return a name in lower case, one space between words, units left out."""
    without = re.sub(r"[(\[].*?[)\]]", " ", name)
    words = re.findall(r"[^\W_]+", without.lower())
    units = {"ml", *(word for spelt in UNIT_WORDS.values() for word in spelt)}
    while len(words) > 1 and words[-1] in units and words[0] not in units:
        words.pop()
    return " ".join(words)


def _score(layout: Field, column: ExportColumn) -> float:
    name = plain_name(column.name)
    words = (
        plain_name(layout.name),
        plain_name(layout.name.removesuffix("_h")),
        *FIELD_WORDS[layout.name],
    )
    if layout.name in EXACTLY:
        return float(name in words and _may_hold(layout, column))
    likeness = max(difflib.SequenceMatcher(None, name, word).ratio() for word in words)
    return likeness if _may_hold(layout, column) else 0.0


def _may_hold(layout: Field, column: ExportColumn) -> bool:
    """Whether the values could be those of the layout's column."""
    if not column.known:
        return True
    if column.clock is not None:
        return layout.name.endswith("_h")
    if column.is_private:
        return False
    if layout.kind in {Kind.INTEGER, Kind.NUMBER}:
        return column.is_number
    if layout.kind is Kind.YES_NO:
        return len(column.known) <= 3
    return layout.kind is not Kind.CODE or len(column.values) <= MOST_CODES


def match_codes(layout: Field, column: ExportColumn) -> tuple[dict[str, list[str]], list[str]]:
    """Match an export's spellings with the codes of the layout; return the rest too."""
    found: dict[str, list[str]] = {}
    rest = []
    for value in column.known:
        code = _code_of(layout, plain_name(value))
        if code is None:
            rest.append(value)
        else:
            found.setdefault(code, []).append(value)
    return found, rest


def _code_of(layout: Field, value: str) -> str | None:
    """Return the code that a spelling means: known by heart, its beginning, or nearly it."""
    codes = {plain_name(code.value): code.value for code in layout.codes or ()}
    by_heart = CODE_WORDS.get(layout.name, {}).get(value)
    begun = [code for spelt, code in codes.items() if len(value) >= 3 and spelt.startswith(value)]
    if by_heart or len(begun) == 1:
        return by_heart or begun[0]
    near = difflib.get_close_matches(value, codes, n=1, cutoff=0.8)
    return codes[near[0]] if near else None


def drafted_unit(layout: Field, column: ExportColumn) -> str | None:
    """Return the unit that the column's name tells, where it is not the layout's own."""
    words = re.findall(r"[a-z/%]+", column.name.lower())
    for unit, spelt in UNIT_WORDS.items():
        factor = FACTORS.get((layout.unit, unit))
        if factor not in {None, 1.0} and any(word in spelt for word in words):
            return unit
    return None


class _Writer:
    """Writes the draft as TOML, and notes what could not be matched."""

    def __init__(
        self, record: Record, columns: Sequence[ExportColumn], matches: Dict[str, ExportColumn]
    ) -> None:
        self.record, self.columns, self.matches = record, columns, matches
        self.result = Draft(record.name, "")
        self.placed = next(
            (
                c
                for c in columns
                if c.clock and re.search(r"plac|insert|start|\bin\b", plain_name(c.name))
            ),
            None,
        )

    def draft(self, file_name: str) -> Draft:
        used = {column.name for column in self.matches.values()}
        body = [self.line(name, column) for name, column in self.matches.items()]
        if self.placed is not None:
            body += self.placement()
            used.add(self.placed.name)
        body += self.missing_lines()
        ignored = [column.name for column in self.columns if column.name not in used]
        self.result.unmatched = ignored
        head = [f'name = "{self.record.name} export"', "", f"[{self.record.name}]",
                f"file = {toml_text(file_name)}", *self.options(),
                "# Columns that nothing was found for: move them up, or leave them ignored.",
                f"ignore = {toml_list(ignored)}", "",
                f"[{self.record.name}.columns]"]  # fmt: skip
        self.result.text = "\n".join([*head, *body]) + "\n"
        return self.result

    def options(self) -> list[str]:
        clock = next((c.clock for c in self.columns if c.clock), None)
        values = {value for c in self.columns for value in c.values if value.lower() in MISSING}
        values |= {value for c in self.matches.values() for value in c.odd}
        comma = any(c.is_number and any("," in v for v in c.known) for c in self.columns)
        found = [f"clock = {toml_text(clock)}"] if clock else []
        found += ['decimal = ","'] if comma else []
        return found + ([f"missing = {toml_list(sorted(values))}"] if values else [])

    def line(self, name: str, column: ExportColumn) -> str:
        layout = self.record.field(name)
        if column.clock is not None:
            start = self.placed.name if self.placed else "episode.PLACED"
            return f"{name} = {{ column = {toml_text(column.name)}, since = {toml_text(start)} }}"
        if layout.codes is not None:
            return self.codes(layout, column)
        if layout.kind is Kind.YES_NO:
            return self.yes_no(layout, column)
        unit = drafted_unit(layout, column)
        if unit is not None:
            return f"{name} = {{ column = {toml_text(column.name)}, unit = {toml_text(unit)} }}"
        return f"{name} = {toml_text(column.name)}"

    def codes(self, layout: Field, column: ExportColumn) -> str:
        found, rest = match_codes(layout, column)
        values = ", ".join(f"{code} = {toml_list(spelt)}" for code, spelt in found.items())
        line = f"{layout.name} = {{ column = {toml_text(column.name)}, values = {{ {values} }} }}"
        return line + self.rest(layout, rest)

    def yes_no(self, layout: Field, column: ExportColumn) -> str:
        yes = [v for v in column.known if v.lower() in YES]
        no = [v for v in column.known if v.lower() in NO]
        if {*column.known} <= {"yes", "no"}:
            return f"{layout.name} = {toml_text(column.name)}"
        line = (
            f"{layout.name} = {{ column = {toml_text(column.name)}, yes = {toml_list(yes)},"
            f" no = {toml_list(no)} }}"
        )
        return line + self.rest(layout, [v for v in column.known if v not in {*yes, *no}])

    def rest(self, layout: Field, values: Sequence[str]) -> str:
        """Return a comment that names the spellings that are left to a person."""
        if not values:
            return ""
        self.result.values_unmatched[layout.name] = len(values)
        return f"\n# not matched: {', '.join(map(toml_text, values))}"

    def placement(self) -> list[str]:
        """Take month, order and hour from the clock time of placement."""
        if self.record.name != "episode" or self.placed is None:
            return []
        wanted = {"placed_month": "month", "month_order": "order", "placed_hour": "hour"}
        return [
            f"{name} = {{ column = {toml_text(self.placed.name)}, take = {toml_text(take)} }}"
            for name, take in wanted.items()
            if name not in self.matches
        ]

    def missing_lines(self) -> list[str]:
        have = set(self.matches)
        if self.placed is not None and self.record.name == "episode":
            have |= {"placed_month", "month_order", "placed_hour"}
        lacking = [f for f in self.record.fields if f.required and f.name not in have]
        self.result.without_source = [f.name for f in lacking]
        return [f'# {f.name} = ""  # needed: {f.description}' for f in lacking]


def toml_list(texts: Sequence[str]) -> str:
    """Return texts as a TOML list."""
    return f"[{', '.join(map(toml_text, texts))}]"


def toml_text(text: str) -> str:
    """Return a text as a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
