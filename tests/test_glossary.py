"""docs/glossary.md: a line a term, and the program's own lists, word for word."""

import re
from itertools import pairwise
from pathlib import Path

from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.dictionary import entries
from pipeline.records.codes import RemovalReason
from pipeline.records.layout import RECORDS

GLOSSARY = Path(__file__).parents[1] / "docs" / "glossary.md"


def rows(section: str) -> list[str]:
    """Return the lines of a section's table, without its header."""
    part = GLOSSARY.read_text(encoding="utf-8").split(f"\n## {section}\n")[1].split("\n## ")[0]
    return [line for line in part.splitlines() if line.startswith("| ")][2:]


def test_every_measure_stands_as_on_its_card() -> None:
    expected = [
        f"| {m.name} | {m.title} | {m.kind} | {m.numerator} | {m.denominator} | {m.unit} |"
        f" {m.better} |"
        for m in load_catalogue().values()
    ]
    assert rows("Measures") == expected, "\n" + "\n".join(expected)


def test_every_reason_of_removal_stands_as_in_the_records() -> None:
    expected = [f"| {code.value} | {code.meaning} |" for code in RemovalReason]
    assert rows("Reasons of removal") == expected, "\n" + "\n".join(expected)


def test_terms_are_in_order_and_stand_once() -> None:
    terms = [line.split(" | ")[0].removeprefix("| ") for line in rows("Terms")]
    assert len(terms) > 50
    for before, after in pairwise(terms):
        assert before.casefold() < after.casefold(), f"{after} after {before}"


def test_every_term_has_a_sentence() -> None:
    for line in rows("Terms"):
        assert re.fullmatch(r"\| [^|]+ \| [A-Z0-9`][^|]+\. \|", line), line


def test_columns_named_in_the_glossary_are_columns() -> None:
    columns = {column.name for entry in entries() for column in entry.columns}
    text = "\n".join(rows("Terms"))
    named = set(re.findall(r"`([a-z_]+)`", text)) - {"committee", "shared"}
    assert named <= columns, named - columns


def test_every_record_is_a_term() -> None:
    terms = {line.split(" | ")[0].removeprefix("| ") for line in rows("Terms")}
    assert set(RECORDS) <= terms
