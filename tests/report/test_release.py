"""A release: from the store to the page, thrice, with corrections in between."""

import csv
import json
import re
import shutil

import pytest
from click.testing import CliRunner

from pipeline.answers.release import Release, release
from pipeline.answers.released import told_chart, told_curves, told_rates
from pipeline.cli.main import dwell
from pipeline.errors import UsageError
from pipeline.measures.catalogue import find_measure, load_catalogue
from pipeline.measures.release_counts import LEADING
from pipeline.measures.series import series
from pipeline.records.folder import find_sources
from pipeline.report.release import ReleasePage
from pipeline.report.release_words import span_words
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.store.load import load_files
from tests.report.conftest import AS_OF, HOSTILE_LABEL

MONTH = re.compile(r"20\d\d-(0[1-9]|1[0-2])")


def told(made):
    return {
        (c.item, c.family, c.group, c.first, c.last): (c.events, c.base)
        for c in made.cells
        if c.base is not None
    }


def test_a_figure_that_was_told_stays_as_it_was(releases):
    path, ((first, _), (second, _), (third, _)) = releases
    earlier = told(first)
    assert earlier.items() <= told(second).items() <= told(third).items()
    with open_store(path) as store:
        now = series(store, "dislodgement", by=(), months=("2023-01", "2023-12"))
    counted = [
        events
        for (item, _, group, _, last), (events, _) in earlier.items()
        if item == "dislodgement" and group == "all" and last < "2024"
    ]
    assert sum(counted) == now["numerator"][0] + 3  # the corrections are not told


def test_no_cell_counts_few(releases):
    _, made = releases
    for (item, *_), (events, base) in told(made[-1][0]).items():
        assert events is None or events == 0 or events >= 11, item
        assert base >= 11


def test_most_of_a_network_of_a_third_the_size_is_told(releases):
    _, made = releases
    found, withheld = made[-1]
    for name in ("dislodgement", "leakage"):
        assert any(row.is_told for row in told_rates(found, find_measure(name))), name
    whole = withheld.by_quarter + withheld.with_year + withheld.withheld
    assert withheld.by_quarter + withheld.with_year >= 0.5 * whole


@pytest.mark.slow
def test_of_the_demonstration_what_leads_stands_and_four_fifths_are_told(demonstration, tmp_path):
    path = shutil.copyfile(demonstration / "dwell.duckdb", tmp_path / "dwell.duckdb")
    with open_store(path, read_only=False) as store:
        found, withheld = release(store, "2025-Q3", Settings())
    for name in sorted(LEADING & set(load_catalogue())):
        assert any(row.is_told for row in told_rates(found, find_measure(name))), name
    whole = withheld.by_quarter + withheld.with_year + withheld.withheld
    assert withheld.by_quarter + withheld.with_year >= 0.8 * whole


def test_only_a_closed_quarter_is_released(releases, tmp_path):
    path, _ = releases
    copy = shutil.copyfile(path, tmp_path / "dwell.duckdb")
    done = CliRunner().invoke(dwell, ["release", "2025-Q4", "--db", str(copy)])
    assert isinstance(done.exception, UsageError)
    assert "not closed" in str(done.exception)
    low = Settings(small_cell=2)
    with open_store(copy, read_only=False) as store, pytest.raises(UsageError):
        release(store, "2025-Q3", low)


def test_releases_are_listed_with_fingerprints(releases):
    path, made = releases
    done = CliRunner().invoke(dwell, ["release", "--list", "--db", str(path)])
    for found, _ in made:
        assert found.fingerprint in done.stdout
    assert "Confidential" not in done.stderr


def test_the_page_follows_from_the_figures_alone(releases, tmp_path, monkeypatch):
    """No store is there when it is made, so nothing else can be in it."""
    from pipeline.report.markdown import gathered

    found = releases[1][-1][0]
    (tmp_path / "told.json").write_text(found.text(), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with gathered() as shown:
        page = ReleasePage("told.json")
        for section in (
            page.this_quarter, page.charts, page.time_in_place, page.groups,
            page.protection, page.definitions, page.cautions,
        ):  # fmt: skip
            section()
        page.finish("a test")
    text = "\n".join(shown)
    assert found.fingerprint in text
    assert not MONTH.search(text)
    assert HOSTILE_LABEL not in text
    numbers = json.loads((tmp_path / "numbers.json").read_text(encoding="utf-8"))
    assert Release.of((tmp_path / "told.json").read_text(encoding="utf-8")) == found
    assert len(numbers["cells"]) == len(found.cells)
    assert not MONTH.search(json.dumps(numbers["cells"]))
    assert (tmp_path / "tables.xlsx").exists()


def test_a_chart_and_a_curve_can_be_worked_out_from_what_is_told(releases):
    found = releases[1][-1][0]
    chart = told_chart(found, find_measure("dislodgement"))
    cells = [c for c in found.cells if c.item == "dislodgement" and c.group == "all"]
    assert chart.numerator.tolist() == [c.events for c in cells if c.base is not None]
    for curve in told_curves(found):
        steps = [b - a for a, b in zip(curve.removed, curve.removed[1:], strict=False)]
        assert all(step == 0 or step >= 11 for step in steps)
        assert curve.base - curve.removed[-1] >= 11


def test_spans_in_words():
    assert span_words("2024-Q1", "2024-Q4") == "2024"
    assert span_words("2023-Q1", "2024-Q4") == "2023 to 2024"
    assert span_words("2025-Q3", "2025-Q3") == "July to September 2025"
    assert span_words("2024-Q3", "2025-Q4") == "July 2024 to December 2025"


@pytest.mark.slow
def test_the_smallest_site_by_itself_is_told_by_year(store_path, tmp_path):
    records = tmp_path / "records"
    records.mkdir()
    kept: set[str] = set()
    for name in ("site", "episode", "contact", "visit"):
        with (store_path.parent / "records" / f"{name}.csv").open(encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        own = [r for r in rows if r.get("site", "sandpiper") == "sandpiper"]
        if name == "episode":
            kept = {r["episode_id"] for r in own}
        elif "episode_id" in rows[0]:
            own = [r for r in own if r["episode_id"] in kept]
        with (records / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(own)
    path = tmp_path / "dwell.duckdb"
    load_files(path, find_sources(records), as_of=AS_OF)
    with open_store(path, read_only=False) as store:
        found, withheld = release(store, "2025-Q3", Settings())
    assert withheld.with_year > withheld.by_quarter
    assert any(row.is_told for row in told_rates(found, find_measure("family_calls")))
