"""One small invented store, and both reports rendered from it once for all tests."""

import csv
import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipeline.records.folder import find_sources
from pipeline.report.render import Order, render
from pipeline.store.load import load_files
from synthetic_data.folder import write_folder

QUARTER = "2025-Q4"
AS_OF = dt.date(2026, 1, 6)
HOSTILE_LABEL = '<script>alert("label")</script> [Avocet](http://example.org) | *x*'
HOSTILE_TITLE = '=1+1 <img src=x onerror=alert(1)> "glued" & {{< pagebreak >}}'


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
    folder = tmp_path_factory.mktemp("report-store")
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


def _render(store_path, folder, document, parameters):
    told = []
    order = Order(
        document,
        {"quarter": QUARTER, "db": str(store_path), "settings": "", **parameters},
        folder,
        document,
        with_pdf=True,
        renderer="builtin",
    )
    made = render(order, told.append)
    return Made(folder, made.html, made.pdf, tuple(told))


@pytest.fixture(scope="session")
def quarterly(store_path, tmp_path_factory):
    """The quarterly report, with its PDF."""
    folder = tmp_path_factory.mktemp("quarterly")
    return _render(store_path, folder, "quarterly", {})


@pytest.fixture(scope="session")
def comparison(store_path, tmp_path_factory):
    """The comparison of sites, with its PDF."""
    folder = tmp_path_factory.mktemp("comparison")
    return _render(store_path, folder, "comparison", {"by": "site"})


@pytest.fixture(scope="session", params=["quarterly", "comparison"])
def made(request):
    """Each report in turn."""
    return request.getfixturevalue(request.param)
