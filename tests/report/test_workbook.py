"""tables.xlsx: a sheet a table, numbers as numbers, no cell that could act."""

import math

import openpyxl
import pytest

from pipeline.report.workbook import Sheet, inert, write_workbook

SHEET = Sheet(
    "Measures",
    ("Measure", "Rate", "Signal"),
    (("=1+1", 9.1, True), ("leakage", math.nan, None), ("@x", 3, False)),
    note="-invented",
)


@pytest.fixture
def book(tmp_path):
    write_workbook([SHEET, Sheet("Empty", ("A",), ())], tmp_path / "tables.xlsx")
    return openpyxl.load_workbook(tmp_path / "tables.xlsx")


def test_there_is_a_sheet_a_table(book):
    assert book.sheetnames == ["Contents", "Measures", "Empty"]


def test_numbers_are_numbers_and_unknown_is_blank(book):
    page = book["Measures"]
    assert page["B2"].value == 9.1
    assert page["B2"].data_type == "n"
    assert page["C2"].value is True
    assert page["B3"].value is None
    assert page["C3"].value is None


@pytest.mark.parametrize("cell", ["A2", "A4", "A6"])
def test_what_could_be_a_formula_is_text(book, cell):
    found = book["Measures"][cell]
    assert found.data_type == "s"
    assert str(found.value).startswith("'")


def test_headings_are_frozen(book):
    assert book["Measures"].freeze_panes == "B2"
    assert book["Measures"]["A1"].font.bold


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_every_start_of_a_formula_is_made_inert(start):
    assert inert(f"{start}cmd") == f"'{start}cmd"
    assert inert(f"a{start}") == f"a{start}"


def test_the_same_tables_are_the_same_file(tmp_path):
    write_workbook([SHEET], tmp_path / "a.xlsx")
    write_workbook([SHEET], tmp_path / "b.xlsx")
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
