"""Outputs that take no more, streams that are closed, stores and folders that are gone."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.robust.conftest import Forks

DB = ["--db", "dwell.duckdb"]
MAIN = "from pipeline.cli.main import main; main()"
# Each writes to where there is no room, over a file that is good.
WRITE = {
    "chart svg": ["chart", "dislodgement", "--out", "{}/a.svg", *DB],
    "chart png": ["chart", "dislodgement", "--out", "{}/a.png", *DB],
    "all charts": ["chart", "--out", "{}/a.svg", *DB],
    "reasons": ["removal", "--figure", "reasons", "--out", "{}/a.svg", *DB],
    "time in place": ["removal", "--figure", "time-in-place", "--out", "{}/a.png", *DB],
    "removal, all": ["removal", "--out", "{}/b", *DB],
    "compare": ["compare", "--measure", "leakage", "--by", "site", "--out", "{}/b", *DB],
    "change": ["change", "--out", "{}/b", *DB],
    "sql": ["sql", "from episode", "--out", "{}/a.csv", *DB],
    "sql, all": ["sql", "from contact", "--out", "{}/a.csv", *DB],
    "rejects": ["rejects", "--record", "contact", "--out", "{}/a.csv", *DB],
    "map": ["map", "raw/list.csv", "--out", "{}/b.toml"],
    "extract": ["extract", "glue", "--out", "{}/b", "--key-file", "a.key", *DB],
    "pseudonymise": ["pseudonymise", "raw", "--key-file", "site.key", "--out", "{}/b"],
    "report": ["report", "2025-Q3", "--out", "{}/b", "--renderer", "builtin", *DB],
    "release": ["release", "2025-Q2", "--out", "{}/b", "--renderer", "builtin", *DB],
}


def is_one_sentence(said: str) -> bool:
    """Whether it is a message and what to try, without a traceback."""
    lines = [line for line in said.strip().splitlines() if not line.startswith("  ")]
    return 1 <= len(lines) <= 3 and "Traceback" not in said and "fault in dwell" not in said


@pytest.fixture
def full(tmp_path: Path) -> Iterator[Path]:
    """A small disk with three good files and no room."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(place)]
    if os.getuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("only root can mount a disk, and not everywhere")
    for name in ("a.svg", "a.png", "a.csv"):
        (place / name).write_text("good")
    room = shutil.disk_usage(place).free
    (place / "ballast").write_bytes(bytes(room))
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.slow
@pytest.mark.parametrize("words", WRITE.values(), ids=WRITE)
def test_on_a_full_disk_what_was_there_stays(
    words: list[str], world: Path, full: Path, forks: Forks
) -> None:
    before = {p.name: p.read_bytes() for p in full.iterdir()}
    store = (world / "dwell.duckdb").read_bytes()
    done = forks.dwell(world, *(word.format(full) for word in words), "-q")
    assert done.returncode not in (0, 1), done.stderr
    assert is_one_sentence(done.stderr), done.stderr
    left = {p.name: p.read_bytes() for p in full.iterdir() if p.is_file()}
    assert left == before
    assert all(p.is_file() or not any(p.iterdir()) for p in full.iterdir())
    if words[0] != "release":
        assert (world / "dwell.duckdb").read_bytes() == store


@pytest.mark.parametrize("stream", ["closed", "/dev/full"])
def test_a_stream_that_takes_nothing_is_said(world: Path, stream: str) -> None:
    into = ">&-" if stream == "closed" else "> /dev/full"
    line = f"{sys.executable} -c '{MAIN}' measures leakage --db dwell.duckdb {into}"
    done = subprocess.run(
        line, shell=True, cwd=world, stderr=subprocess.PIPE, text=True, check=False
    )
    assert done.returncode not in (0, 1)
    assert is_one_sentence(done.stderr), done.stderr


@pytest.mark.parametrize("words", ["status", "sql 'from contact'", "chart"])
def test_a_reader_that_goes_away_is_no_error(world: Path, words: str) -> None:
    line = f"{sys.executable} -c '{MAIN}' {words} --db dwell.duckdb | true"
    done = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {line}"], cwd=world, capture_output=True, check=False
    )
    assert (done.returncode, b"Traceback" in done.stderr) == (0, False)


def test_a_folder_that_is_gone_is_said(tmp_path: Path) -> None:
    line = f'mkdir gone && cd gone && rmdir ../gone && {sys.executable} -c "{MAIN}" status'
    done = subprocess.run(
        line, shell=True, cwd=tmp_path, capture_output=True, text=True, check=False,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert done.returncode not in (0, 1)
    assert is_one_sentence(done.stderr), done.stderr


@pytest.mark.parametrize("name", ['a "quoted" store.duckdb', "it's a store.duckdb", "ü 鹤.duckdb"])
def test_a_store_may_have_any_name(world: Path, forks: Forks, name: str) -> None:
    shutil.move(world / "dwell.duckdb", world / name)
    for words in (["measures", "leakage"], ["sql", "select 1 as one"], ["freeze", "2025-Q2"]):
        done = forks.dwell(world, *words, "--db", name)
        assert done.returncode == 0, done.stderr


def test_a_pipe_is_no_store(world: Path) -> None:
    os.mkfifo(world / "pipe")
    done = subprocess.run(
        [sys.executable, "-c", MAIN, "status", "--db", "pipe"],
        cwd=world, capture_output=True, text=True, check=False, timeout=20,
    )  # fmt: skip
    assert done.returncode == 5
    assert is_one_sentence(done.stderr)


@pytest.mark.parametrize("damage", ["cut", "overwritten", "not a store", "empty"])
def test_a_damaged_store_says_so_and_what_to_do(world: Path, forks: Forks, damage: str) -> None:
    store = world / "dwell.duckdb"
    whole = store.read_bytes()
    store.write_bytes(
        {"cut": whole[: len(whole) // 2], "overwritten": bytes(8192) + whole[8192:],
         "not a store": b"site,month\n", "empty": b""}[damage]
    )  # fmt: skip
    for words in (["status"], ["measures", "leakage"], ["freeze", "2025-Q2"]):
        done = forks.dwell(world, *words, *DB)
        assert done.returncode == 5, (words, done.stderr)
        assert is_one_sentence(done.stderr), done.stderr


def test_a_newer_store_names_the_version_that_it_needs(world: Path, forks: Forks) -> None:
    import duckdb

    with duckdb.connect(str(world / "dwell.duckdb")) as connection:
        connection.execute("update schema_info set schema_version = 999")
    done = forks.dwell(world, "status", *DB)
    assert done.returncode == 5
    assert "newer" in done.stderr


def test_a_cell_that_a_spreadsheet_would_run_comes_back(world: Path, forks: Forks) -> None:
    """Written with an apostrophe, read without: rows set aside go out and come in the same."""
    (world / "bad").mkdir()
    header = (world / "records" / "episode.csv").read_text("utf-8").splitlines()[0]
    columns = header.split(",")
    row = dict.fromkeys(columns, "") | {"episode_id": "e990001", "site": "=1+1"}
    (world / "bad" / "episode.csv").write_text(f"{header}\n{','.join(row.values())}\n", "utf-8")
    assert forks.dwell(world, "load", "bad", "--confirm-titles", *DB, "-q").returncode == 0
    done = forks.dwell(world, "rejects", "--file", "episode.csv", "--out", "out.csv", *DB)
    assert done.returncode == 0, done.stderr
    assert "'=1+1" in (world / "out.csv").read_text("utf-8")
    found = json.loads(forks.dwell(world, "rejects", "--format", "json", *DB).stdout)
    assert any(one["column"] == "site" for one in found)
