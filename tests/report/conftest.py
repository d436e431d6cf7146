"""One small invented store, and both reports rendered from it once for all tests."""

import csv
import datetime as dt
import fcntl
import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipeline.answers.release import release
from pipeline.records.folder import find_sources
from pipeline.report.quarto import find_quarto
from pipeline.report.render import Order, render
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.store.load import load_files
from synthetic_data.folder import write_folder

QUARTER = "2025-Q4"
AS_OF = dt.date(2026, 1, 6)
HOSTILE_LABEL = '<script>alert("label")</script> [Avocet](http://example.org) | *x*'
HOSTILE_TITLE = '=1+1 <img src=x onerror=alert(1)> "glued" & {{< pagebreak >}}'


@contextmanager
def made_once(factory, name):
    """A folder that is filled once for all workers that run tests beside one another.

    Gives the folder and whether it is still to be filled; the others wait meanwhile.
    """
    base = factory.getbasetemp()
    base = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    folder, done = base / name, base / f"{name}.done"
    with (base / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield folder, not done.exists()
        done.touch()


@dataclass(frozen=True)
class Made:
    """A rendered report and what lies beside it."""

    folder: Path
    html: Path
    pdf: Path
    told: tuple[str, ...]


@pytest.fixture(scope="session")
def store_path(tmp_path_factory):
    """A store of invented records whose labels try to be markup."""
    with made_once(tmp_path_factory, "report-store") as (folder, is_first):
        if is_first:
            write_folder(folder / "records", episodes=2400)
            _rewrite(folder / "records" / "site.csv", "label", HOSTILE_LABEL)
            _rewrite(folder / "records" / "change.csv", "title", HOSTILE_TITLE)
            load_files(folder / "dwell.duckdb", find_sources(folder / "records"), as_of=AS_OF)
    return folder / "dwell.duckdb"


def _rewrite(path, column, value):
    """Put a value into the first row's column."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    rows[0][column] = value
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def _render(store_path, factory, name, parameters, renderer="builtin"):
    document = "comparison" if "by" in parameters else "quarterly"
    with made_once(factory, name) as (folder, is_first):
        if is_first:
            told = []
            order = Order(
                document,
                {"quarter": QUARTER, "db": str(store_path), "settings": "", **parameters},
                folder,
                document,
                with_pdf=True,
                renderer=renderer,
            )
            render(order, told.append)
            (folder / "told.txt").write_text("\n".join(told))
    told = tuple((folder / "told.txt").read_text().splitlines())
    return Made(folder, folder / f"{document}.html", folder / f"{document}.pdf", told)


@pytest.fixture(scope="session")
def quarterly(store_path, tmp_path_factory):
    """The quarterly report, with its PDF."""
    return _render(store_path, tmp_path_factory, "quarterly", {})


@pytest.fixture(scope="session")
def comparison(store_path, tmp_path_factory):
    """The comparison of sites, with its PDF."""
    return _render(store_path, tmp_path_factory, "comparison", {"by": "site"})


@pytest.fixture(scope="session")
def by_quarto(store_path, tmp_path_factory):
    """The quarterly report by Quarto, where one is installed."""
    if find_quarto() is None:
        pytest.skip("Quarto is not installed")
    return _render(store_path, tmp_path_factory, "by-quarto", {}, "quarto")


@pytest.fixture(scope="session", params=["quarterly", "comparison", "by_quarto"])
def made(request):
    """Each report in turn."""
    return request.getfixturevalue(request.param)


def correct(folder, path):
    """Load the episodes of 2023 again, a few with another reason of removal."""
    source = path.parent / "records" / "episode.csv"
    with source.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["placed_month"] < "2024"]
    changed = [row for row in rows if row["removal_reason"] == "dislodged"][:3]
    for row in changed:
        row["removal_reason"] = "leakage"
    folder.mkdir()
    with (folder / "episode.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, changed[0])
        writer.writeheader()
        writer.writerows(changed)
    return find_sources(folder)


@pytest.fixture(scope="session")
def releases(store_path, tmp_path_factory):
    """Three releases of one store, and the store."""
    folder = tmp_path_factory.mktemp("releases")
    path = folder / "dwell.duckdb"
    shutil.copyfile(store_path, path)
    made = []
    for quarter, comparison in (("2023-Q4", None), ("2025-Q2", "site"), ("2025-Q3", "site")):
        with open_store(path, read_only=False) as store:
            made.append(release(store, quarter, Settings(), comparison=comparison))
        if len(made) == 1:
            load_files(path, correct(folder / "corrected", store_path), as_of=AS_OF)
    return path, made
