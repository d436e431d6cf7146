"""Writing invented records against a floor: random columns of the same shape and writer.

The floor draws every column of every row at random, without regard to any other, and
writes it with the same frames and the same writer: it is what the disk and the writing
cost before there is any sense in the records.
"""

import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.layout import RECORDS
from synthetic_data import write_folder
from synthetic_data.draws import Floats, Ints
from synthetic_data.generate import CHUNK
from synthetic_data.scenario import Scenario, load_scenario
from synthetic_data.tables import Columns, frame
from synthetic_data.writer import FORMATS, FolderWriter

EPISODES = 200_000
ROUNDS = 3
SITES, MONTHS = 200, 60
RECORDS_DRAWN = ("episode", "contact", "visit")


def main(episodes: int | None) -> None:
    """Print rows per second and the ratio to the floor, for each format."""
    episodes = episodes or EPISODES
    scenario = load_scenario(sites=SITES, months=MONTHS)
    print(f"{episodes:,} episodes, {SITES} sites, {MONTHS} months")
    for file_format in FORMATS:
        made, floors = [], []
        for _ in range(ROUNDS):  # in turn, so that other work on the machine meets both
            with tempfile.TemporaryDirectory() as place:
                seconds, rows = _write(Path(place), episodes, file_format)
            with tempfile.TemporaryDirectory() as place:
                floors.append(_write_floor(Path(place), scenario, rows, file_format))
            made.append(seconds)
        seconds, floor, total = min(made), min(floors), sum(rows.values())
        print(
            f"{file_format:8} {total / seconds:12,.0f} rows/s in {seconds:5.1f} s;"
            f" floor {floor:5.1f} s; {seconds / floor:.2f} times the floor"
            f" (least of {ROUNDS} rounds each)"
        )


def _write(folder: Path, episodes: int, file_format: str) -> tuple[float, dict[str, int]]:
    start = time.perf_counter()
    written = write_folder(
        folder, episodes=episodes, format=file_format, sites=SITES, months=MONTHS
    )
    return time.perf_counter() - start, written.rows


def _write_floor(folder: Path, scenario: Scenario, rows: dict[str, int], file_format: str) -> float:
    rng = np.random.default_rng(1)
    batches = -(-rows["episode"] // CHUNK)
    start = time.perf_counter()
    with FolderWriter(folder, file_format) as writer:
        for _ in range(batches):
            for name in RECORDS_DRAWN:
                size = rows[name] // batches
                writer.append(name, _random_frame(RECORDS[name], size, scenario, rng))
    return time.perf_counter() - start


def _random_frame(
    record: Record, size: int, scenario: Scenario, rng: np.random.Generator
) -> pl.DataFrame:
    listed = {"site": scenario.site_codes, "placed_month": scenario.months}
    columns: Columns = {
        field.name: _random(field, size, len(listed.get(field.name, field.codes or ())), rng)
        for field in record.fields
    }
    return frame(record, columns, listed=listed, key_offset=1)


def _random(field: Field, size: int, codes: int, rng: np.random.Generator) -> Ints | Floats:
    if field.kind is Kind.KEY:
        return rng.integers(0, size, size)
    if field.kind is Kind.NUMBER:
        return rng.integers(0, 400, size) / 4
    if field.kind is Kind.YES_NO:
        return rng.integers(0, 2, size)
    return rng.integers(0, codes or 20, size)
