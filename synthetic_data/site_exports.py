"""Exports of invented sites in their own layouts, with the mappings that read them.

A site's mapping is the one description of its export: what the mapping would undo is done
here, so that header, spellings, units and clock times are written down once.
"""

import csv
import datetime as dt
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.records.declaration import Field, Kind
from pipeline.records.layout import RECORDS
from pipeline.records.mapping import ColumnMapping, Mapping, RecordMapping
from pipeline.records.mapping_file import load_mapping
from pipeline.records.units import FACTORS
from synthetic_data.generate import Batch

SITES = ("godwit", "sandpiper")
MAPPING_FILE = "mapping.toml"
LOOKED_UP = "episode."
SPELLED_NOTHING = 0.3  # share of missing cells that hold a word for nothing, not nothing
PLACED_HOURS = (7, 16)  # of placements whose hour was not recorded
DAYS = 28  # of the month on which the invented placements fall
MADE_ON = dt.datetime(2026, 1, 5)  # set, so that the same records give the same workbook

# What stands in the columns that a mapping ignores; the separators and the line break
# within a remark are meant: exports hold such things.
IGNORED: dict[str, Sequence[str]] = {
    "Bay": ("1", "2", "3", "4"),
    "Bed": ("A", "B", "C"),
    "Remark": ("", "", "dry; pump full", 'said "all fine"', "seen twice:\nno change", "à revoir"),
    "Taken by": ("day team", "night team"),
    "Row done": ("x", ""),
}

Cell = str | int | float | None


@dataclass(frozen=True)
class _Desk:
    """Where a site writes its export: its mapping, chance, and when each child was placed."""

    mapping: RecordMapping
    rng: np.random.Generator
    placed_at: Sequence[dt.datetime]

    def column(self, field: Field, spec: ColumnMapping, values: Sequence[Any]) -> list[Cell]:
        """Return the cells of one column of the layout as the site writes them."""
        return [self.nothing() if v is None else self.cell(field, spec, v) for v in values]

    def nothing(self) -> Cell:
        spelled = self.mapping.missing
        if not spelled or self.rng.random() > SPELLED_NOTHING:
            return None
        return spelled[int(self.rng.integers(len(spelled)))]

    def cell(self, field: Field, spec: ColumnMapping, value: Any) -> Cell:
        if spec.values:
            spelled = spec.values[value]
            return spelled[int(self.rng.integers(len(spelled)))]
        if field.kind is Kind.YES_NO:
            return self.mapping.yes[0] if value else self.mapping.no[0]
        if spec.unit == "months":
            return int(value) * 12 + int(self.rng.integers(12))
        if spec.unit is not None:
            digits = 1 if spec.unit == "lb" else 4
            return _plain(round(value / FACTORS[field.unit, spec.unit], digits))
        return _plain(value)

    def clocks(self, hours: Sequence[float | None]) -> list[Cell]:
        """Return clock times so many hours after each placement."""
        return [
            self.nothing() if h is None else self.clock(start + dt.timedelta(hours=h))
            for start, h in zip(self.placed_at, hours, strict=True)
        ]

    def clock(self, time: dt.datetime) -> str:
        return time.strftime(self.mapping.clock)


def split_off(batch: Batch, site: str) -> tuple[Batch, Batch]:
    """Split a batch into the records of all other sites and those of one site."""
    own = batch["episode"]["site"].cast(pl.String) == site
    keys = batch["episode"].filter(own)["episode_id"].implode()
    rest, part = {}, {}
    for name, frame in batch.items():
        is_own = frame["episode_id"].is_in(keys)
        rest[name], part[name] = frame.filter(~is_own), frame.filter(is_own)
    return rest, part


def write_export(folder: Path, site: str, batch: Batch, *, seed: int) -> None:
    """Write the records of one site as that site exports them, its mapping beside them.

    Parameters
    ----------
    folder : Path
        Made where it does not exist.
    site : str
        One of `SITES`.
    batch : dict of str to DataFrame
        Episodes, contacts and visits of the site in the layout.
    seed : int
        Seed of spellings and of the days and minutes of placement. The same records and
        seed give the same files, byte for byte.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = resources.files("synthetic_data").joinpath("mappings", f"{site}.toml")
    with resources.as_file(path) as source:
        shutil.copyfile(source, folder / MAPPING_FILE)
    mapping: Mapping = load_mapping(folder / MAPPING_FILE)
    rng = np.random.default_rng([seed, SITES.index(site)])
    placed = dict(
        zip(batch["episode"]["episode_id"], _placement_times(batch["episode"], rng), strict=True)
    )
    for name, own in mapping.records.items():
        desk = _Desk(own, rng, [placed[key] for key in batch[name]["episode_id"]])
        columns = _columns(name, batch[name], desk)
        write = _write_workbook if own.file.endswith(".xlsx") else _write_csv
        write(folder / own.file, own, columns)


def _columns(record: str, frame: pl.DataFrame, desk: _Desk) -> dict[str, list[Cell]]:
    """Return the columns of the export by their headings, in the mapping's order."""
    columns: dict[str, list[Cell]] = {}
    for name, spec in desk.mapping.columns.items():
        if spec.column is None:
            continue
        if spec.take is not None:
            columns[spec.column] = [desk.clock(time) for time in desk.placed_at]
        elif spec.since is not None:
            if not spec.since.startswith(LOOKED_UP):
                columns[spec.since] = [desk.clock(time) for time in desk.placed_at]
            columns[spec.column] = desk.clocks(frame[name].to_list())
        else:
            field = RECORDS[record].field(name)
            columns[spec.column] = desk.column(field, spec, frame[name].to_list())
    for heading in desk.mapping.ignore:
        said = IGNORED[heading]
        columns[heading] = [said[i] for i in desk.rng.integers(len(said), size=frame.height)]
    return columns


def _placement_times(episode: pl.DataFrame, rng: np.random.Generator) -> list[dt.datetime]:
    """Make up a day and a minute for each placement, in the order of the month.

    Placements whose clock hours rise share a day; the days are spread over the month.
    """
    hours = [
        int(rng.integers(*PLACED_HOURS)) if hour is None else hour
        for hour in episode["placed_hour"].to_list()
    ]
    months = episode["placed_month"].cast(pl.String).to_list()
    day, days = 0, []
    for number, month in enumerate(months):
        is_new_month = number == 0 or months[number - 1] != month
        if is_new_month:
            day = 0
        elif hours[number] <= hours[number - 1]:
            day += 1
        days.append(day)
    used = {month: days[i] + 1 for i, month in enumerate(months)}
    return [
        dt.datetime(int(month[:4]), int(month[5:]), 1 + day * DAYS // max(used[month], DAYS), hour)
        + dt.timedelta(minutes=int(rng.integers(60)))
        for month, day, hour in zip(months, days, hours, strict=True)
    ]


def _plain(value: Any) -> Cell:
    """Return a whole number without a decimal point, as people type it."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _write_csv(path: Path, own: RecordMapping, columns: dict[str, list[Cell]]) -> None:
    def text(cell: Cell) -> str:
        if isinstance(cell, float):
            return str(cell).replace(".", own.decimal)
        return "" if cell is None else str(cell)

    with path.open("w", encoding=own.encoding, newline="") as file:
        writer = csv.writer(file, delimiter=own.delimiter or ",", lineterminator="\r\n")
        writer.writerow(columns)
        for row in zip(*columns.values(), strict=True):
            writer.writerow([text(cell) for cell in row])


def _write_workbook(path: Path, own: RecordMapping, columns: dict[str, list[Cell]]) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(path) as book:
        book.set_properties({"created": MADE_ON, "comments": "Invented records."})
        sheet = book.add_worksheet(own.sheet)
        for place, (heading, cells) in enumerate(columns.items()):
            sheet.write(0, place, heading)
            for row, cell in enumerate(cells, start=1):
                if cell is not None:
                    sheet.write(row, place, cell)
