"""Every command that writes, killed before each change that it makes to a file."""

import shutil
from pathlib import Path

import pytest

from pipeline.store import open_store
from tests.robust.conftest import Forks
from tests.sizes import part

DB = ["--db", "dwell.duckdb"]
KILLS = part(5)
# What each command is asked, and what it writes.
FILES = {
    "chart": (["dislodgement", "--out", "a.svg", *DB], ["a.svg"]),
    "removal": (["--out", "a.png", "--figure", "reasons", *DB], ["a.png"]),
    "sql": (["select site from episode", "--out", "a.csv", *DB], ["a.csv"]),
    "rejects": (["--record", "episode", "--out", "a.csv", *DB], ["a.csv"]),
    "compare": (["--measure", "leakage", "--by", "site", "--out", "a", *DB],
                ["a/leakage_funnel.svg"]),
    "map": (["raw/list.csv", "--out", "a.toml"], ["a.toml"]),
    "pseudonymise": (["raw", "--key-file", "site.key", "--out", "a"], ["a"]),
    "extract": (["glue", "--out", "a", "--key-file", "a.key", *DB], ["a"]),
    "report": (["2025-Q3", "--out", "a", "--renderer", "builtin", *DB],
               ["a/quarterly-2025-Q3.html", "a/numbers.json"]),
}  # fmt: skip
ONLY_NEW = {"map", "pseudonymise", "extract"}  # they never write over what is there
STORES = {
    "load": ["records", "--as-of", "2026-02-01"],
    "undo": ["1"],
    "freeze": ["2025-Q2"],
    "signals": ["2025-Q2", "--record"],
    "release": ["2025-Q2", "--out", "r", "--renderer", "builtin"],
}


def moments(changes: int, most: int) -> list[int]:
    """Return which changes a command is killed before: each, or `most` of them spread out."""
    if changes <= most:
        return list(range(1, changes + 1))
    return sorted({1 + round(i * (changes - 1) / (most - 1)) for i in range(most)})


def parts(folder: Path) -> list[Path]:
    return [*folder.rglob(".writing-*"), *folder.glob("*.writing*")]


def contents(place: Path) -> object:
    """Return what a file holds, or a folder's files by name."""
    if place.is_dir():
        return {p.name: p.read_bytes() for p in sorted(place.iterdir()) if p not in parts(place)}
    return place.read_bytes() if place.exists() else None


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_a_file_is_as_it_was_or_whole(name: str, world: Path, forks: Forks) -> None:
    words, outputs = FILES[name]
    assert forks.run(world, name, *words) == 0
    if name == "extract":  # it has made its key now, and keeps it
        take_away(world, outputs)
        assert forks.run(world, name, *words) == 0
    changes = forks.changes(world)
    assert changes > 1
    whole = {out: contents(world / out) for out in outputs}
    assert all(whole.values())
    for at in moments(changes, KILLS):
        if name in ONLY_NEW:
            take_away(world, outputs)
        before = {out: contents(world / out) for out in outputs}
        assert forks.run(world, name, *words, at=at) == 9
        for out in outputs:
            found = contents(world / out)
            assert not found or found in (before[out], whole[out]) or _is_finished(found), at
    take_away(world, outputs)
    assert forks.run(world, name, *words) == 0
    assert parts(world) == []


def take_away(world: Path, outputs: list[str]) -> None:
    for out in outputs:
        if (world / out).is_dir():
            shutil.rmtree(world / out)
        else:
            (world / out).unlink(missing_ok=True)


def _is_finished(found: object) -> bool:
    """Whether a page or its numbers, of which some bytes may differ, are there to their end."""
    return isinstance(found, bytes) and found.rstrip().endswith((b"</html>", b"}"))


def tables(db: Path) -> dict[str, list[tuple]]:
    with open_store(db) as store:
        names = [name for (name,) in store.rows("select table_name from duckdb_tables()")]
        return {name: sorted(map(repr, store.rows(f"from {name}"))) for name in sorted(names)}


def counts(found: dict[str, list[tuple]]) -> dict[str, int]:
    return {name: len(rows) for name, rows in found.items()}


@pytest.mark.slow
@pytest.mark.parametrize("name", STORES)
def test_a_store_is_as_it_was_or_whole(name: str, world: Path, forks: Forks) -> None:
    words, store = STORES[name], world / "dwell.duckdb"
    before = store.read_bytes()
    was = tables(store)
    assert forks.run(world, name, *words, *DB) == 0
    changes = forks.changes(world)
    after = counts(tables(store))
    assert after != counts(was)
    for at in moments(changes, KILLS):
        store.write_bytes(before)
        forks.run(world, name, *words, *DB, at=at)
        found = tables(store)
        assert found == was or counts(found) == after, (name, at)
    store.write_bytes(before)
    assert forks.run(world, name, *words, *DB) == 0
    assert counts(tables(store)) == after
    assert parts(world) == []
