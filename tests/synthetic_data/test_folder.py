"""Folders are reproducible, whole whatever the chunk, and load without a complaint."""

import hashlib
import tracemalloc
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.records.folder import find_sources
from pipeline.records.layout import RECORDS
from pipeline.store.load import load_files
from synthetic_data import write_folder
from synthetic_data.__main__ import main
from synthetic_data.faults import CONTACT_FAULTS, EPISODE_FAULTS
from synthetic_data.generate import batches
from synthetic_data.scenario import load_scenario


def digest(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*.*"))
    }


@pytest.mark.parametrize("options", [{"format": "csv", "with_faults": True}, {"format": "parquet"}])
def test_the_same_seed_gives_the_same_bytes(tmp_path: Path, options: dict):
    for name in ("once", "again"):
        write_folder(tmp_path / name, episodes=700, seed=5, chunk=300, late=True, **options)
    assert digest(tmp_path / "once") == digest(tmp_path / "again")


def test_another_seed_gives_other_records(tmp_path: Path):
    for seed in (1, 2):
        write_folder(tmp_path / str(seed), episodes=300, seed=seed)
    one, other = digest(tmp_path / "1"), digest(tmp_path / "2")
    assert one["site.csv"] == other["site.csv"]
    assert one["episode.csv"] != other["episode.csv"]


def test_csv_and_parquet_say_the_same(tmp_path: Path):
    for file_format in ("csv", "parquet"):
        write_folder(tmp_path / file_format, episodes=800, format=file_format)
    for record in RECORDS.values():
        stored = pl.read_parquet(tmp_path / "parquet" / f"{record.name}.parquet")
        text = pl.read_csv(tmp_path / "csv" / f"{record.name}.csv", infer_schema=False)
        flags = [name for name, dtype in stored.schema.items() if dtype == pl.Boolean]
        read = text.with_columns(pl.col(flags).replace_strict({"yes": True, "no": False}))
        assert read.cast(dict(stored.schema)).equals(stored)


def test_rows_are_counted_and_files_are_those_of_the_records(tmp_path: Path):
    seen: list[tuple[int, int]] = []
    written = write_folder(
        tmp_path, episodes=900, chunk=400, progress=lambda *done: seen.append(done)
    )
    for name, rows in written.rows.items():
        assert pl.read_csv(tmp_path / f"{name}.csv", infer_schema=False).height == rows
    assert set(written.rows) == set(RECORDS)
    assert seen == [(400, 900), (800, 900), (900, 900)]


@pytest.mark.parametrize("chunk", [60, 170, 5000])
def test_chunks_make_up_the_whole(chunk: int):
    parts = list(batches(load_scenario(), episodes=500, seed=9, chunk=chunk))
    assert [part["episode"].height for part in parts[:-1]] == [chunk] * (len(parts) - 1)
    for name, key in (("episode", "episode_id"), ("contact", "contact_id"), ("visit", "visit_id")):
        whole = pl.concat([part[name] for part in parts])
        assert whole[key].n_unique() == whole.height
    episode = pl.concat([part["episode"] for part in parts])
    assert episode.height == 500
    cells = episode.group_by("site", "placed_month").agg(pl.len(), pl.max("month_order"))
    assert (cells["len"] == cells["month_order"]).all()
    assert episode["placed_month"].is_sorted()


def peak_mb(episodes: int, chunk: int) -> float:
    tracemalloc.start()
    for _ in batches(load_scenario(), episodes=episodes, seed=1, chunk=chunk):
        pass
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def test_memory_follows_the_chunk_and_not_the_number_of_episodes():
    few, many, wide = peak_mb(4_000, 2_000), peak_mb(20_000, 2_000), peak_mb(20_000, 20_000)
    assert many < 1.25 * few
    assert wide > 4 * many


def test_a_late_delivery_completes_the_first(tmp_path: Path):
    write_folder(tmp_path / "whole", episodes=3000, format="parquet")
    write_folder(tmp_path / "parts", episodes=3000, format="parquet", late=True)
    for name in ("episode", "contact", "visit"):
        key = RECORDS[name].key
        whole = pl.read_parquet(tmp_path / "whole" / f"{name}.parquet")
        first = pl.read_parquet(tmp_path / "parts" / f"{name}.parquet")
        second = pl.read_parquet(tmp_path / "parts" / "late" / f"{name}.parquet")
        kept = first.join(second, on=key, how="anti")
        assert pl.concat([kept, second]).sort(key).equals(whole.sort(key))
        if name == "episode":
            corrected = first.join(second, on=key, how="semi")
            assert corrected["removal_reason"].null_count() == corrected.height
            assert corrected.height / 3000 == pytest.approx(0.02, abs=0.008)
            assert (second.height - corrected.height) / 3000 == pytest.approx(0.03, abs=0.01)


def test_both_deliveries_load_without_a_row_set_aside(tmp_path: Path):
    write_folder(tmp_path / "records", episodes=600, late=True)
    for folder in (tmp_path / "records", tmp_path / "records" / "late"):
        result = load_files(tmp_path / "programme.duckdb", find_sources(folder))
        assert result.faults == ()
        assert all(file.set_aside == 0 for file in result.files)
    corrected = {file.record: file.corrected for file in result.files}
    assert corrected["episode"] > 0


def test_faulty_rows_are_set_aside_and_nothing_else(tmp_path: Path):
    write_folder(tmp_path / "records", episodes=600, with_faults=True)
    result = load_files(tmp_path / "programme.duckdb", find_sources(tmp_path / "records"))
    files = {file.record: file for file in result.files}
    assert files["episode"].set_aside == len(EPISODE_FAULTS) + 2
    assert files["contact"].set_aside == len(CONTACT_FAULTS) + 1
    assert files["episode"].new == 600
    assert len({fault.rule for fault in result.faults}) >= len(EPISODE_FAULTS)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"episodes": 0}, "at least 1"),
        ({"chunk": 0}, "at least 1"),
        ({"seed": -1}, "at least 0"),
        ({"format": "xml"}, "csv, parquet"),
        ({"format": "parquet", "with_faults": True}, "CSV only"),
    ],
)
def test_what_cannot_be_written_is_refused(tmp_path: Path, options: dict, message: str):
    with pytest.raises(ValueError, match=message):
        write_folder(tmp_path, **options)


def test_the_command_writes_a_folder_and_says_that_it_is_invented(tmp_path: Path):
    asked = [str(tmp_path / "x"), "--episodes", "50", "--sites", "7", "--months", "4"]
    result = CliRunner().invoke(main, asked)
    assert result.exit_code == 0
    assert "all invented" in result.stderr
    assert result.stdout == ""
    assert pl.read_csv(tmp_path / "x" / "site.csv").height == 7


def test_the_command_reports_a_folder_that_cannot_be_written(tmp_path: Path):
    (tmp_path / "file").write_text("")
    result = CliRunner().invoke(main, [str(tmp_path / "file" / "x")])
    assert result.exit_code == 1
    assert "Traceback" not in result.output
