"""Workbooks as people make them: stray cells, merged cells, rows above the table (invented)."""

import datetime as dt
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.errors import InputError
from pipeline.records.rows import read
from pipeline.records.sources import SourceFile, look_at

ROWS = [["episode_id", "site", "weight_kg"], ["e1", "avocet", 31.5], ["e2", "avocet", 12]]


def workbook(path: Path, change: Callable[[Worksheet], object] = lambda _: None) -> SourceFile:
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row in ROWS:
        sheet.append(row)
    change(sheet)
    book.save(path)
    return look_at("episode", path)


def test_a_workbook_is_read_with_its_row_numbers(tmp_path: Path) -> None:
    columns, table = read(workbook(tmp_path / "episode.xlsx"))
    assert columns == ("episode_id", "site", "weight_kg")
    assert table.to_pydict()["row"] == [2, 3]
    assert table.to_pydict()["s_2"] == ["31.5", "12"]


def test_blank_rows_above_the_header_are_passed_over(tmp_path: Path) -> None:
    source = workbook(tmp_path / "episode.xlsx", lambda sheet: sheet.insert_rows(1, 3))
    columns, table = read(source)
    assert columns[0] == "episode_id"
    assert table.to_pydict()["row"] == [5, 6]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda sheet: sheet.cell(1_048_576, 30, "x"), "reaches to row 1,048,576, column 30"),
        (lambda sheet: sheet.cell(1_048_576, 16_384, "x"), "column 16,384"),
        (lambda sheet: sheet.cell(700, 16_384, "x"), "a cell far outside its table"),
        (lambda sheet: sheet.merge_cells("A2:A3"), "merged cells"),
        (lambda sheet: sheet.merge_cells("B1:C1"), "merged cells"),
        (lambda sheet: sheet.delete_rows(1, 3), "is empty: it has no header"),
        (lambda sheet: sheet.cell(1, 3, "site"), "columns 2 and 3 have one name"),
        (lambda sheet: sheet.cell(1, 2).__setattr__("value", None), "column 2 has no name"),
        (lambda sheet: sheet.parent.create_sheet("more"), "has 2 sheets"),
    ],
)
def test_what_cannot_be_read_is_said(
    tmp_path: Path, change: Callable[[Worksheet], object], message: str
) -> None:
    source = workbook(tmp_path / "episode.xlsx", change)
    with pytest.raises(InputError, match=message):
        read(source)


def test_a_stray_cell_near_the_table_is_a_row_of_its_own(tmp_path: Path) -> None:
    source = workbook(tmp_path / "episode.xlsx", lambda sheet: sheet.cell(40_000, 2, "x"))
    _, table = read(source)
    assert table.to_pydict()["row"] == [2, 3, 40_000]


def test_what_is_no_workbook_is_said(tmp_path: Path) -> None:
    path = tmp_path / "episode.xlsx"
    for content in (b"PK no", b"\xd0\xcf\x11\xe0" + bytes(600), b""):
        path.write_bytes(content)
        with pytest.raises(InputError, match=r"is not a workbook, or is damaged|is empty"):
            read(look_at("episode", path))
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("xl/worksheets/sheet1.xml", "<worksheet>")
    with pytest.raises(InputError, match="is not a workbook, or is damaged"):
        read(look_at("episode", path))


def test_a_workbook_that_unpacks_to_gigabytes_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = workbook(tmp_path / "episode.xlsx")
    monkeypatch.setattr("pipeline.records.workbook.MOST_UNPACKED", 1000)
    with pytest.raises(InputError, match="too large for a workbook"):
        read(source)


def test_times_and_ticks_are_written_as_in_a_file(tmp_path: Path) -> None:
    def add(sheet: Worksheet) -> None:
        sheet.append([dt.datetime(2025, 4, 1, 8, 30), True, 1e300])

    _, table = read(workbook(tmp_path / "episode.xlsx", add))
    last = [table.to_pydict()[name][-1] for name in ("s_0", "s_1", "s_2")]
    assert last[:2] == ["2025-04-01 08:30:00", "yes"]
