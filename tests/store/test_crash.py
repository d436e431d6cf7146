"""A load that is killed, cannot write, or is not alone: the store opens as it was before."""

import errno
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from pipeline.errors import StoreError
from pipeline.store import connection, copying, open_store
from tests.store.small import (
    CONTACT,
    EPISODE,
    contact,
    contents,
    empty_store,
    episode,
    load,
    rows,
    write,
)

MAIN = "from pipeline.cli.main import main; main()"


def many(first: int, count: int, age: int = 9) -> str:
    return EPISODE + "".join(
        episode(f"e{n}", n, age_years=age) for n in range(first, first + count)
    )


def command(*words: str, **more: object) -> subprocess.Popen:  # type: ignore[type-arg]
    return subprocess.Popen(
        [sys.executable, "-c", MAIN, *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more,  # type: ignore[call-overload]
    )  # fmt: skip


# Forks a load a line that it is sent: importing everything takes longer than most loads.
LOADS = """
import json, os, signal, sys
from pathlib import Path
from pipeline.records.folder import find_sources
from pipeline.store.load import load_files

replace = os.replace

def killed(source, target, when):
    if when == "after":
        replace(source, target)
    os.kill(os.getpid(), signal.SIGKILL)

for line in sys.stdin:
    db, folder, when = json.loads(line)
    child = os.fork()
    if child == 0:
        if when:
            os.replace = lambda source, target: killed(source, target, when)
        load_files(Path(db), find_sources(Path(folder)))
        os._exit(0)
    print(child, flush=True)
    print(os.waitpid(child, 0)[1], flush=True)
"""


class Loads:
    """Runs loads in processes of their own, which can be killed."""

    def __init__(self) -> None:
        self._server = subprocess.Popen(
            [sys.executable, "-c", LOADS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def run(self, db: Path, folder: Path, *, when: str = "", after_s: float | None = None) -> int:
        """Load, and kill it at the swap or after some time; return its status."""
        assert self._server.stdin
        assert self._server.stdout
        self._server.stdin.write(json.dumps([str(db), str(folder), when]) + "\n")
        self._server.stdin.flush()
        child = int(self._server.stdout.readline())
        if after_s is not None:
            time.sleep(after_s)
            with suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
        return int(self._server.stdout.readline())

    def close(self) -> None:
        """End the server."""
        self._server.communicate()


@pytest.fixture
def loads() -> Iterator[Loads]:
    running = Loads()
    yield running
    running.close()


@pytest.fixture(params=[True, False], ids=["correcting", "first"])
def db(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    """A store, or the place for one."""
    path = tmp_path / "dwell.duckdb"
    if request.param:
        load(path, write(tmp_path / "a", {"episode.csv": many(1, 500)}))
    return path


@pytest.fixture
def changed(tmp_path: Path) -> Path:
    calls = "".join(contact(f"c{n}", f"e{n % 1000 + 1}") for n in range(1500))
    files = {"episode.csv": many(1, 1000, age=10), "contact.csv": CONTACT + calls}
    return write(tmp_path / "b", files)


def content(db: Path) -> bytes | None:
    return db.read_bytes() if db.exists() else None


def stores(folder: Path) -> list[Path]:
    """Return what a folder holds beside the lock of writers, which stays."""
    return [path for path in folder.iterdir() if not path.name.endswith(".lock")]


def sizes(db: Path) -> dict[str, int]:
    return {name: len(table) for name, table in contents(db).items()}


@pytest.mark.parametrize(
    ("db", "kills"),
    [(True, 3), (False, 3), pytest.param(True, 10, marks=pytest.mark.slow)],
    indirect=["db"],
)
def test_a_killed_load_leaves_the_store_as_it_was(
    db: Path, changed: Path, loads: Loads, kills: int
) -> None:
    before = content(db)
    whole = db.with_name("whole.duckdb")
    if before is not None:
        whole.write_bytes(before)
    start = time.monotonic()
    assert loads.run(whole, changed) == 0
    takes = time.monotonic() - start
    moments = random.Random(kills)
    for _ in range(kills):
        loads.run(db, changed, after_s=moments.uniform(0, 1) * takes)
        if content(db) != before:  # it was done before it was killed: all of it is there
            assert sizes(db) == sizes(whole)
            if before is None:
                db.unlink()
            else:
                db.write_bytes(before)
    assert loads.run(db, changed) == 0
    assert sizes(db) == sizes(whole)
    assert list(db.parent.glob("dwell.duckdb*")) == [db]  # what was left over is cleared away


@pytest.mark.parametrize(
    ("db", "when"), [(True, "before"), (True, "after"), (False, "before")], indirect=["db"]
)
def test_a_load_killed_at_the_swap_is_there_not_at_all_or_whole(
    db: Path, changed: Path, loads: Loads, when: str
) -> None:
    before = content(db)
    assert loads.run(db, changed, when=when) == signal.SIGKILL
    if when == "before":
        assert content(db) == before
    else:
        assert rows(db, "select count(*) from episode") == [(1000,)]
    assert loads.run(db, changed) == 0
    assert rows(db, "select count(*), min(age_years) from episode") == [(1000, 10)]
    with open_store(db, read_only=False):
        pass
    assert list(db.parent.glob("dwell.duckdb*")) == [db]


# Answers every line with what the store says: in a session kept open, or opened anew.
READER = """
import sys
from contextlib import ExitStack
from pathlib import Path
from pipeline.store import copying, open_store
from pipeline.store.adhoc import open_queries

sql = "select count(*), max(age_years) from episode"
held = ExitStack()
queries = held.enter_context(open_queries(Path(sys.argv[1])))
print("ready", flush=True)
for line in sys.stdin:
    if line == "held\\n":
        print(queries.run(sql).rows, flush=True)
    else:
        held.close()
        with open_store(Path(sys.argv[1])) as store:
            print(store.rows(sql), flush=True)
"""


def test_two_readers_during_a_load_see_the_old_state(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    readers = {
        how: subprocess.Popen(
            [sys.executable, "-c", READER, str(db)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        for how in ("held", "anew")
    }  # fmt: skip

    def ask(how: str, reader: str) -> str:
        assert readers[reader].stdin
        readers[reader].stdin.write(f"{how}\n")
        readers[reader].stdin.flush()
        return readers[reader].stdout.readline().strip()  # type: ignore[union-attr]

    for reader in readers.values():
        assert reader.stdout
        assert reader.stdout.readline() == "ready\n"
    told: list[tuple[str, str, str]] = []
    load(
        db,
        write(tmp_path / "b", {"episode.csv": many(1, 5, age=10)}),
        progress=lambda what, _: told.append((what, ask("held", "held"), ask("anew", "anew"))),
    )
    assert {"reading episode.csv", "writing episode.csv", "counting"} <= {what for what, *_ in told}
    assert {state for _, *states in told for state in states} == {"[(3, 9)]"}
    assert ask("held", "held") == "[(3, 9)]"
    assert ask("anew", "anew") == ask("anew", "held") == "[(5, 10)]"
    for reader in readers.values():
        reader.communicate()
        assert reader.returncode == 0


def test_the_second_of_two_loads_at_once_is_told(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    other = write(tmp_path / "b", {"episode.csv": many(1, 4)})
    before = content(db)
    with open_store(db, read_only=False) as store:
        store.rows("delete from episode")
        second = command("load", str(other), "--db", str(db))
        _, told = second.communicate(timeout=60)
        assert second.returncode == StoreError.exit_code
        assert "in use by another command" in told
        assert len(told.splitlines()) <= 2
        assert content(db) == before
        with open_store(db) as reader:  # the old state, meanwhile
            assert reader.rows("select count(*) from episode") == [(3,)]
    assert rows(db, "select count(*) from episode") == [(0,)]


def test_another_program_that_writes_is_not_copied_halfway(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    code = f"import duckdb; c = duckdb.connect({str(db)!r}); print(flush=True); input()"
    other = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout
    other.stdout.readline()
    with pytest.raises(StoreError, match="in use"), open_store(db, read_only=False):
        pass
    other.communicate("\n")
    assert list(tmp_path.glob("dwell.duckdb*")) == [db]


def test_what_another_program_left_in_a_log_is_kept(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    code = (
        "import duckdb, os, sys; c = duckdb.connect(sys.argv[1]);"
        "c.execute('update episode set age_years = 1'); os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", code, str(db)], check=True)
    assert db.with_name("dwell.duckdb.wal").exists()
    load(db, write(tmp_path / "b", {"episode.csv": many(4, 1)}))
    assert rows(db, "select age_years from episode order by month_order") == [(1,)] * 3 + [(9,)]
    assert list(tmp_path.glob("dwell.duckdb*")) == [db]


def test_a_session_that_fails_changes_nothing(tmp_path: Path) -> None:
    db = tmp_path / "dwell.duckdb"
    load(db, write(tmp_path / "a", {"episode.csv": many(1, 3)}))
    before = content(db)
    with pytest.raises(StoreError), open_store(db, read_only=False) as store:
        store.rows("delete from episode; select * from nowhere")
    assert content(db) == before
    assert list(tmp_path.glob("dwell.duckdb*")) == [db]


def test_a_linked_store_is_written_where_it_lies(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    link, there = tmp_path / "dwell.duckdb", tmp_path / "far" / "real.duckdb"
    link.symlink_to(there)
    for age in (9, 10):
        load(link, write(tmp_path / "a", {"episode.csv": many(1, 3, age=age)}), make=True)
    assert link.is_symlink()
    assert stores(tmp_path / "far") == [there]
    assert rows(there, "select distinct age_years from episode") == [(10,)]
    assert there.stat().st_mode & 0o777 == 0o600


def test_an_unchanged_load_writes_no_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    db = tmp_path / "dwell.duckdb"
    folder = write(tmp_path / "a", {"episode.csv": many(1, 3)})
    load(db, folder)
    before = db.stat()
    monkeypatch.setattr("pipeline.store.copying.copy_file", None)
    result = load(db, folder)
    assert (result.load_id, result.files[0].unchanged) == (None, 3)
    assert (db.stat().st_ino, db.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_a_copy_is_whole_where_blocks_cannot_be_shared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> int:
        raise OSError(errno.EXDEV, "")

    (tmp_path / "a").write_bytes(empty_store())
    copying.copy_file(tmp_path / "a", tmp_path / "b")
    monkeypatch.setattr(os, "copy_file_range", refused)
    copying.copy_file(tmp_path / "a", tmp_path / "c")
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
    assert (tmp_path / "a").read_bytes() == (tmp_path / "c").read_bytes()
    assert (tmp_path / "c").stat().st_mode & 0o777 == 0o600


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


@pytest.mark.parametrize("left", [200_000, 1_000_000], ids=["for no copy", "for a copy alone"])
def test_a_disk_without_room_says_so(disk: Path, tmp_path: Path, left: int) -> None:
    db = disk / "dwell.duckdb"
    db.write_bytes(empty_store())
    before = content(db)
    room = shutil.disk_usage(disk).free
    (disk / "ballast").write_bytes(bytes(room - left))
    with pytest.raises(StoreError, match="disk is full"):
        load(db, write(tmp_path / "b", {"episode.csv": many(1, 40_000, age=10)}))
    (disk / "ballast").unlink()
    assert content(db) == before
    assert stores(disk) == [db]


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


def test_what_does_not_fit_in_memory_goes_to_the_disk_unreadable(tmp_path, monkeypatch):
    monkeypatch.setattr(connection, "MEMORY_LIMIT", "60MB")
    with connection.connect(tmp_path / "store.duckdb", read_only=False) as database:
        database.execute("set preserve_insertion_order = false")
        database.execute(
            "create temp table wide as"
            " select 'clock-time-' || md5(range::varchar) as words from range(2000000)"
        )
        spilled = [p.read_bytes() for p in tmp_path.rglob("*") if ".tmp" in p.name and p.is_file()]
        assert sum(map(len, spilled)) > 1_000_000
        assert not any(b"clock-time-" in part for part in spilled)
        found = database.execute("select count(*), min(left(words, 11)) from wide").fetchall()
    assert found == [(2_000_000, "clock-time-")]
