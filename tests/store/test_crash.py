"""A load that is killed, cannot write, or is not alone: the store opens as it was before."""

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.errors import StoreError
from pipeline.store import open_store
from tests.store.small import CONTACT, EPISODE, contact, contents, episode, load, rows, write

MAIN = "from pipeline.cli import main; main()"
KILLS = 6


def many(first: int, count: int, age: int = 9) -> str:
    return EPISODE + "".join(
        episode(f"e{n}", n, age_years=age) for n in range(first, first + count)
    )


def command(*words: str, **more: object) -> subprocess.Popen:  # type: ignore[type-arg]
    return subprocess.Popen(
        [sys.executable, "-c", MAIN, *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more,  # type: ignore[call-overload]
    )  # fmt: skip


@pytest.mark.parametrize("stored", [True, False], ids=["correcting", "first"])
def test_a_killed_load_leaves_the_store_as_it_was(tmp_path: Path, stored: bool) -> None:
    db = tmp_path / "dwell.duckdb"
    if stored:
        load(db, write(tmp_path / "a", {"episode.csv": many(1, 3000)}))
    before = contents(db) if stored else None
    changed = {
        "episode.csv": many(1, 6000, age=10),
        "contact.csv": CONTACT + "".join(contact(f"c{n}", f"e{n % 6000 + 1}") for n in range(9000)),
    }
    folder = write(tmp_path / "b", changed)
    start = time.monotonic()
    whole = tmp_path / "whole.duckdb"
    whole.write_bytes(db.read_bytes() if stored else b"")
    if not stored:
        whole.unlink()
    done = command("load", str(folder), "--db", str(whole), "-q")
    done.communicate(timeout=120)
    assert done.returncode == 0
    takes = time.monotonic() - start
    after = contents(whole)
    moments = random.Random(3 + stored)
    for _ in range(KILLS):
        running = command("load", str(folder), "--db", str(db), "-q")
        time.sleep(moments.uniform(0.2, 1.0) * takes)
        running.send_signal(signal.SIGKILL)
        running.communicate()
        if not db.exists():
            continue
        with open_store(db, read_only=False):
            pass  # the write-ahead log, if any, is read here
        found = contents(db)
        if found["load"] and (before is None or found["load"] != before["load"]):
            assert {name: len(t) for name, t in found.items()} == {
                name: len(t) for name, t in after.items()
            }
            return  # it had committed before it was killed: all of it is there
        assert before is None or found == before
        assert found["set_aside"] == []
        assert before is not None or found["load_file"] == []


def test_the_second_of_two_loads_at_once_is_told(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    folder = write(tmp_path / "a", {"episode.csv": many(1, 3)})
    load(db, folder)
    before = contents(db)
    with open_store(db, read_only=False):
        for words in (["load", str(folder)], ["status"]):
            second = command(*words, "--db", str(db))
            _, told = second.communicate(timeout=60)
            assert second.returncode == StoreError.exit_code
            assert "in use by another command" in told
            assert len(told.splitlines()) <= 2
    assert contents(db) == before


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", str(place)]
    if os.getuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("only root can mount a disk, and not everywhere")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_read_only_disk_says_so(disk: Path, tmp_path: Path) -> None:
    db = disk / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    before = contents(db)
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    with pytest.raises(StoreError, match="read-only"):
        load(db, write(tmp_path / "b", {"episode.csv": many(1, 3, age=10)}))
    assert contents(db) == before


def test_a_disk_without_room_says_so(disk: Path, tmp_path: Path) -> None:
    db = disk / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    before = contents(db)
    room = shutil.disk_usage(disk).free
    (disk / "ballast").write_bytes(bytes(room - 200_000))
    with pytest.raises(StoreError, match="disk is full"):
        load(db, write(tmp_path / "b", {"episode.csv": many(1, 40_000, age=10)}))
    (disk / "ballast").unlink()
    assert contents(db) == before


@pytest.mark.skipif(os.getuid() == 0, reason="root may write everything")
def test_a_read_only_store_says_so(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    folder = write(tmp_path / "a", {"episode.csv": many(1, 3)})
    load(db, folder)
    db.chmod(0o400)
    with pytest.raises(StoreError, match="read-only"):
        load(db, folder)


def test_a_full_disk_says_so_and_changes_nothing(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    before = contents(db)
    folder = write(tmp_path / "b", {"episode.csv": many(1, 40_000, age=10)})
    most = db.stat().st_size + 300_000

    def little_room() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    full = command("load", str(folder), "--db", str(db), preexec_fn=little_room)
    _, told = full.communicate(timeout=120)
    assert full.returncode == StoreError.exit_code, told
    assert "disk is full" in told
    assert contents(db) == before
    assert rows(db, "select count(*) from episode") == [(3,)]
