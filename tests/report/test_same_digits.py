"""A command, a report and Python give one figure the same digits: they ask the same answer."""

import json

import pytest
from click.testing import CliRunner

from pipeline import open_store
from pipeline.cli.main import dwell
from pipeline.cli.printing import to_json
from pipeline.measures.catalogue import load_catalogue, measures_in_force
from tests.report.conftest import QUARTER

MEASURES = tuple(load_catalogue())
LAST = "2025-12"
KEPT = 1e-9  # `numbers.json` keeps ten digits


@pytest.fixture(scope="module")
def programme(store_path):
    with open_store(store_path) as opened:
        yield opened


def printed(store_path, *words):
    done = CliRunner().invoke(
        dwell, [*words, "--db", str(store_path), "--format", "json", "--quiet"]
    )
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def plain(found):
    return json.loads(to_json(found.as_json()))


def numbers_of(made):
    document = json.loads((made.folder / "numbers.json").read_text(encoding="utf-8"))
    return {row["id"]: row for row in document["numbers"]}


@pytest.mark.parametrize("by", ["month", "quarter", "site", "surgeon_type", "limb", "age_band"])
def test_measures(store_path, programme, by):
    assert printed(store_path, "measures", *MEASURES, "--by", by) == plain(
        programme.measures(*MEASURES, by=by)
    )


@pytest.mark.parametrize("site", [None, "sandpiper"])
def test_charts(store_path, programme, site):
    words = ["--site", site] if site else []
    assert printed(store_path, "chart", *words) == plain(programme.chart(site=site or ()))


@pytest.mark.parametrize("by", ["site", "surgeon_type"])
def test_comparisons(store_path, programme, by):
    assert printed(store_path, "compare", "--by", by) == plain(programme.compare(by=by))


@pytest.mark.parametrize("by", ["limb", "site"])
def test_removal(store_path, programme, by):
    assert printed(store_path, "removal", "--by", by) == plain(programme.removal(by=by))


def test_changes(store_path, programme):
    assert printed(store_path, "change") == plain(programme.change())


def test_signals(store_path, programme):
    assert printed(store_path, "signals", QUARTER, "--no-record") == plain(
        programme.signals(QUARTER)
    )


def test_the_quarterly_report_prints_the_rates_of_the_measures(quarterly, programme):
    numbers = numbers_of(quarterly)
    names = [measure.name for measure in measures_in_force()]
    rows = programme.measures(*names, by="quarter", last=LAST).as_json()
    of_quarter = {row["measure"]: row for row in rows if row["quarter"] == QUARTER}
    assert set(of_quarter) == set(names)
    for name, row in of_quarter.items():
        found = numbers[f"{name}/{QUARTER}"]
        for key, column in (("value", "rate"), ("lower", "lower"), ("upper", "upper")):
            assert found[key] == pytest.approx(row[column], rel=KEPT), (name, key)
        assert (found["numerator"], found["denominator"]) == (row["numerator"], row["denominator"])


def test_the_comparison_report_prints_the_ratios_of_the_command(comparison, programme):
    numbers = numbers_of(comparison)
    compared = programme.compare(by="site", first="2024-01", last=LAST)
    checked = 0
    for row in compared.as_json():
        found = numbers[f"{row['measure']}/site/{row['group']}/ratio"]
        for key, column in (("value", "ratio"), ("lower", "ratio_lower"), ("upper", "ratio_upper")):
            if row[column] is not None:
                assert found[key] == pytest.approx(row[column], rel=KEPT), (row, key)
                checked += 1
    assert checked > len(MEASURES)
