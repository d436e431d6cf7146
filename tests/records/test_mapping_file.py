# ruff: noqa: E501
"""A fault in a mapping is one sentence with its line (all invented)."""

from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.records.mapping_file import load_mapping

GOOD = """\
name = "knot, ward system"

[episode]
file = "catheters*.csv"
ignore = ["Ward"]

[episode.columns]
episode_id = "Case"
weight_kg = { column = "Weight", unit = "lb" }
surgeon_type = { column = "Team", values = { sports = ["Knee"] } }
"""

# What takes the place of a line of GOOD, and what is said.
FAULTS = {
    "long delimiter": ('ignore = ["Ward"]', 'delimiter = ";;"', 5, "delimiter is one character"),
    "no delimiter": ('ignore = ["Ward"]', 'delimiter = ""', 5, "delimiter is one character"),
    "letter as delimiter": ('ignore = ["Ward"]', 'delimiter = "a"', 5, "delimiter is one"),
    "number as delimiter": ('ignore = ["Ward"]', "delimiter = 5", 5, "must be a text in quotes"),
    "unknown encoding": ('ignore = ["Ward"]', 'encoding = "latin-99"', 5, "encoding is not known"),
    "no text encoding": ('ignore = ["Ward"]', 'encoding = "base64"', 5, "encoding is not known"),
    "empty encoding": ('ignore = ["Ward"]', 'encoding = ""', 5, "encoding is not known"),
    "decimal point in words": ('ignore = ["Ward"]', 'decimal = "point"', 5, "is a point or a comma"),
    "clock of nothing": ('ignore = ["Ward"]', 'clock = "H:M"', 5, "how clock times are written"),
    "clock of no day": ('ignore = ["Ward"]', 'clock = "%H:%M"', 5, "how clock times are written"),
    "unknown directive": ('ignore = ["Ward"]', 'clock = "%Y-%m-%d %Q"', 5, "how clock times"),
    "list that is a text": ('ignore = ["Ward"]', 'ignore = "Ward"', 5, "must be a list of texts"),
    "list of numbers": ('ignore = ["Ward"]', "missing = [9]", 5, "must be a list of texts"),
    "unknown option": ('ignore = ["Ward"]', 'quotes = "\'"', 5, "quotes is unknown"),
    "empty file": ('file = "catheters*.csv"', 'file = ""', 4, "file must name the export's file"),
    "no file": ('file = "catheters*.csv"', "", 3, "file must name the export's file"),
    "file as a list": ('file = "catheters*.csv"', 'file = ["a"]', 4, "must name the export's file"),
    "unknown record": ("[episode]", "[patient]", 3, "[patient] is none of the records"),
    "record that is a text": ("[episode]\n", 'visit = "x"\n[episode]\n', 3, "must name the export"),
    "columns as a list": ("[episode.columns]", "[[episode.columns]]", 7, "is a table: column of the layout"),
    "unknown column": ('episode_id = "Case"', 'shoe_size = "Case"', 8, "shoe_size is not in the"),
    "column that is a number": ('episode_id = "Case"', "episode_id = 7", 8, "is a column's name or"),
    "column that is a list": ('episode_id = "Case"', 'episode_id = ["a"]', 8, "is a column's name"),
    "neither column nor constant": ('episode_id = "Case"', "episode_id = {}", 8, "needs either"),
    "empty column": ('episode_id = "Case"', 'episode_id = ""', 8, "needs either"),
    "column and constant": ('"Case"', '{ column = "a", constant = "b" }', 8, "needs either"),
    "unknown part": ('"Case"', '{ column = "a", colour = "b" }', 8, "`colour` is unknown"),
    "part of a wrong type": ('"Case"', "{ column = 5 }", 8, "`column` must be a text in quotes"),
    "nested part": ('"Case"', "{ column = { column = 'a' } }", 8, "must be a text in quotes"),
    "unknown unit": ('unit = "lb"', 'unit = "stone"', 9, "`unit` stone is not known"),
    "values as a list": ('{ sports = ["Knee"] }', '["Knee"]', 10, "`values` is a table"),
    "values as a text": ('{ sports = ["Knee"] }', '"Knee"', 10, "`values` is a table"),
    "spellings as a text": ('["Knee"]', '"Knee"', 10, "`values` must be a list of texts"),
    "unknown code": ("sports =", "robotics =", 10, "`values` robotics is not a code of the layout"),
    "values of a number": ('unit = "lb"', "values = { a = ['b'] }", 9, "`values` does not fit"),
    "hours of a weight": ('unit = "lb"', 'since = "In"', 9, "`since` does not fit"),
    "years of a weight": ('unit = "lb"', 'years_since = "B"', 9, "`years_since` does not fit"),
    "month of a weight": ('unit = "lb"', 'take = "month"', 9, "`take` is month for placed_month"),
    "form of a weight": ('unit = "lb"', 'form = "99"', 9, "`form` is that of a key"),
    "form of letters": ('"Case"', '{ column = "Case", form = "AAAAAA" }', 8, "`form` is that of"),
    "form of a pattern": ('"Case"', '{ column = "Case", form = ".*" }', 8, "`form` is that of a key"),
    "ignored and read": ('episode_id = "Case"', 'episode_id = "Ward"', 8, "Ward is ignored too"),
    "name that is a list": ('name = "knot, ward system"', "name = []", 1, "name is a text"),
    "name with an escape": ("knot, ward", "knot\\u001b[2J", 1, "name is a text"),
}  # fmt: skip


def said(folder: Path, text: str) -> str:
    path = folder / "mapping.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_mapping(path)
    assert len(str(caught.value).splitlines()) <= 2
    return caught.value.message


def test_the_mapping_is_right_without_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "mapping.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert load_mapping(path).records["episode"].columns["weight_kg"].unit == "lb"


@pytest.mark.parametrize(("old", "new", "line", "message"), FAULTS.values(), ids=FAULTS)
def test_a_fault_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, line: int, message: str
) -> None:
    assert old in GOOD
    found = said(tmp_path, GOOD.replace(old, new, 1))
    assert found.startswith(f"mapping.toml, line {line}: ")
    assert message in found


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "maps no record"),
        ('name = "knot"\n', "maps no record"),
        ("[episode\n", "is not TOML"),
        ("a = 1\na = 2\n", "is not TOML"),
        ("a = " + "[" * 5000 + "]" * 5000, "nested too deep"),
        ("a = " + "{ a = " * 3000 + "1" + " }" * 3000, "nested too deep"),
    ],
)
def test_what_is_no_mapping_is_said(tmp_path: Path, text: str, message: str) -> None:
    assert message in said(tmp_path, text)


def test_a_mapping_that_is_no_text_or_no_file_is_said(tmp_path: Path) -> None:
    path = tmp_path / "mapping.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="is not TOML"):
        load_mapping(path)
    with pytest.raises(InputError, match="There is no mapping"):
        load_mapping(tmp_path)
