"""`dwell chart`, `signals` and `plan` on a small invented network."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.analysis.charts import Counts
from pipeline.answers.chart_series import ChartSeries
from pipeline.answers.charts import MeasureChart, MeasureCharts, measure_charts
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.findings import quarter_findings
from pipeline.cli.chart import chart
from pipeline.cli.load import load
from pipeline.cli.plan import plan
from pipeline.cli.signals import signals
from pipeline.errors import DwellError, NoDataError
from pipeline.measures.catalogue import find_measure, measures_in_force
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.words.chart import chart_sentences
from synthetic_data import write_folder


@pytest.fixture(scope="module")
def db(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("charts")
    write_folder(place / "records", episodes=1500, seed=3)
    path = place / "dwell.duckdb"
    run(load, str(place / "records"), "--as-of", "2026-01-06", "--db", str(path), "--quiet")
    return path


def run(command, *words, **options):
    result = CliRunner().invoke(command, words, catch_exceptions=True, **options)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def as_json(command, db, *words):
    shown = run(command, *words, "--db", str(db), "--format", "json")
    return json.loads(shown.stdout)


def test_one_chart_is_one_object_with_the_keys_that_scripts_use(db):
    found = as_json(chart, db, "dislodgement", "--site", "curlew")
    assert {"measure", "chart", "centre", "phases", "points", "detectability"} <= set(found)
    assert found["measure"] == "dislodgement"
    assert len(found["points"]) == 36
    assert {"period", "numerator", "denominator", "value", "centre", "lower", "upper", "signals",
            "provisional"} <= set(found["points"][0])  # fmt: skip
    ratios = [delay["ratio"] for delay in found["detectability"]["expected_months"]]
    assert ratios == [2.0, 0.5, 1.5]
    assert 0 <= found["detectability"]["false_watch_in_a_year"] <= 1


def test_a_new_phase_starts_where_the_log_asks_for_it_and_only_at_its_sites(db):
    changed = as_json(chart, db, "dislodgement", "--site", "curlew")
    other = as_json(chart, db, "dislodgement", "--site", "dunlin")
    assert [phase["first"] for phase in changed["phases"]] == ["2023-01", "2024-07"]
    assert changed["phases"][1]["carried_forward"] or (
        changed["phases"][1]["centre"] < changed["phases"][0]["centre"]
    )
    assert len(other["phases"]) == 1
    assert other["changes"] == []


def test_a_change_of_all_measures_is_on_every_chart_and_in_every_finding(db, tmp_path):
    path = tmp_path / "dwell.duckdb"
    shutil.copy(db, path)
    with open_store(path, read_only=False) as store:
        store.rows("update change set measures = 'all', sites = 'all', new_phase = true")
        titles = store.rows("select title from change")
    logged = {title for (title,) in titles}
    with open_store(path) as store:
        charts = measure_charts(store, measures_in_force(), period="quarter").charts
        found = quarter_findings(store, "2025-Q4", Settings())
    assert all({change.title for change in one.chart.changes} == logged for one in charts)
    counted = [f for f in found if not f.chart.is_of_gaps]
    assert all({change.title for change in f.chart.changes} == logged for f in counted)


def test_several_charts_are_a_list_with_their_groups(db):
    found = as_json(chart, db, "leakage", "--by", "site", "--by", "quarter")
    assert [one["group"] for one in found] == ["avocet", "curlew", "dunlin", "godwit", "sandpiper"]
    assert found[0]["points"][0]["period"] == "2023-Q1"
    assert found[0]["label"] == "Avocet"


def test_a_rare_event_chart_counts_across_months(db):
    found = as_json(chart, db, "redness_swelling")
    assert found["chart"] in {"t", "run"}
    assert found["unit"] == "catheter-days between events"
    assert {point["numerator"] for point in found["points"]} <= {0, 1}
    other = as_json(chart, db, "toxicity_symptoms", "--kind", "g")
    assert other["unit"] == "catheters between events"
    total = sum(point["denominator"] for point in other["points"])
    events = sum(point["numerator"] for point in other["points"])
    counted = as_json(chart, db, "toxicity_symptoms", "--kind", "run")
    assert total + events <= 1500
    assert events <= sum(point["numerator"] for point in counted["points"])


@pytest.mark.parametrize(
    "words",
    [
        ["dislodgement", "--kind", "run"],
        ["dislodgement", "--where", "limb = 'lower' and age_years >= 6"],
        ["dislodgement", "--by", "quarter"],
        ["leakage", "--site", "sandpiper", "--by", "limb"],
        ["leakage", "--adjust"],
    ],
)  # fmt: skip
def test_every_chart_that_fits_is_printed_with_what_its_silence_means(db, words):
    shown = run(chart, *words, "--db", str(db))
    assert "signal" in shown.stdout
    assert "If the rate" in shown.stdout or "If the odds" in shown.stdout


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["dislodgment"], "There is no measure dislodgment"),
        (["family_calls", "--kind", "p"], "A p chart does not fit family_calls, a rate"),
        (["dislodgement", "--site", "nowhere"], "holds no site nowhere"),
        (["dislodgement", "--by", "site", "--by", "limb"], "one period and one grouping"),
        (["dislodgement", "--by", "shoe"], "cannot be grouped by shoe"),
        (["dislodgement", "--where", "shoe = 1"], "cannot be chosen by shoe"),
        (["dislodgement", "--where", "age_years > 40"], "No episode fits"),
        (["dislodgement", "--adjust", "--by", "site"], "one measure at a time"),
        (["--adjust"], "one measure at a time"),
        (["dose_within_ceiling", "--adjust"], "No month of the baseline has a catheter"),
    ],
)
def test_what_cannot_be_charted_is_said_in_one_sentence(db, words, message):
    with pytest.raises(DwellError, match=message):
        run(chart, *words, "--db", str(db))


@pytest.mark.slow
def test_pictures_carry_their_title_and_are_the_same_bytes(db, tmp_path):
    for name in ("a.svg", "b.svg"):
        words = ("leakage", "--site", "curlew")
        run(chart, *words, "--db", str(db), "--out", str(tmp_path / name))
    run(chart, "leakage", "--by", "site", "--db", str(db),
        "--out", str(tmp_path / "sites.png"))  # fmt: skip
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert (tmp_path / "sites.png").stat().st_size > 10_000


def test_a_store_of_one_catheter_has_a_chart_of_every_measure(tmp_path):
    write_folder(tmp_path / "records", episodes=1, seed=3)
    path = tmp_path / "dwell.duckdb"
    run(load, str(tmp_path / "records"), "--as-of", "2026-01-06", "--db", str(path), "--quiet")
    shown = run(chart, "--db", str(path)).stdout
    assert "Redness or swelling at the skin entry: no event yet" in shown
    assert "No event to judge by yet: silence means nothing." in shown


@pytest.mark.parametrize("rare", ["difficult_removal", "falls_lower_limb", "redness_swelling",
                                  "toxicity_symptoms", "emergency_symptoms"])  # fmt: skip
def test_a_rare_measure_of_each_site_ends_in_the_wait_for_an_event(db, rare):
    for found in as_json(chart, db, rare, "--by", "site"):
        assert found["points"], found["group"]
        assert all(p["provisional"] for p in found["points"] if not p["numerator"])


def test_a_chart_without_a_point_says_so_and_can_be_drawn():
    measure = find_measure("redness_swelling")
    (empty,) = draw_charts([ChartSeries(measure, "all", "t", Counts((), [], []), (), 0.0, 0.0)])
    found = MeasureCharts((MeasureChart(measure, "all", "all", empty, 0.0, 0.0),))
    assert found.frame().is_empty()
    assert found.as_json()["points"] == []
    assert found.figure().title == "Redness or swelling at the skin entry: no event yet"
    assert chart_sentences(found.charts[0])[-1].startswith("No event to judge by yet")


def test_csv_has_a_row_a_point(db):
    shown = run(chart, "dislodgement", "--db", str(db), "--format", "csv", "--quiet")
    header, *rows = shown.stdout.splitlines()
    assert header.startswith("measure,group,period,numerator,denominator,value,centre,lower,upper")
    assert len(rows) == 36


def test_signals_are_kept_and_the_next_quarter_says_what_is_new(db):
    first = as_json(signals, db, "2025-Q1")
    assert first["charts"] > 60
    assert all(row["state"] in {"new", "continuing"} for row in first["signals"])
    again = as_json(signals, db, "2025-Q1")
    assert again == first
    second = run(signals, "2025-Q2", "--db", str(db), "--format", "json")
    assert "was not listed at its time" not in second.stderr
    found = json.loads(second.stdout)
    kept = {(row["measure"], row["site"], row["kind"]) for row in first["signals"]}
    continuing = [row for row in found["signals"] if row["state"] == "continuing"]
    assert all((row["measure"], row["site"], row["kind"]) in kept for row in continuing)
    assert len(found["ended"]) <= len(first["signals"])


def test_the_charts_of_a_network_of_one_site_are_looked_at_once(tmp_path):
    write_folder(tmp_path / "records", episodes=360, sites=1)
    path = tmp_path / "dwell.duckdb"
    run(load, str(tmp_path / "records"), "--as-of", "2026-01-15", "--db", str(path), "--quiet")
    found = as_json(signals, path, "2025-Q3")
    measures = [row["measure"] for row in found["signals"] if row["kind"] == "watch"]
    assert measures
    assert len(measures) == len(set(measures))
    assert {row["site"] for row in found["signals"]} == {"all"}
    assert found["charts"] <= len(measures_in_force(Settings()))


def test_the_most_important_signal_comes_first(db):
    rows = as_json(signals, db, "2025-Q1", "--no-record")["signals"]
    levels, ways = ["safety", "call", "watch", "mark"], ["worse", None, "better"]
    order = [(levels.index(row["level"]), ways.index(row["for_the"])) for row in rows]
    assert order == sorted(order)


def test_signals_of_a_quarter_without_data_are_refused_with_the_span(db):
    with pytest.raises(NoDataError, match="holds 2023-Q1 to 2025-Q4"):
        run(signals, "2031-Q1", "--db", str(db))


def test_a_plan_says_which_chart_sees_it_soonest(db):
    found = as_json(plan, db, "dislodgement")
    assert {row["chart"] for row in found["charts"]} == {"limits", "gaps", "cusum"}
    months = [row["months_to_doubling"] for row in found["charts"]]
    assert months == sorted(months)
    assert found["sentences"][1].startswith("Remember: had the rate doubled, evidence added up")


def test_what_cannot_be_planned_is_said_and_what_would_see_it_too(db):
    for name in (measure.name for measure in measures_in_force()):
        found = as_json(plan, db, name)
        if not found["charts"]:
            assert "cannot be planned" in found["sentences"][-1]
        elif (found["charts"][0]["months_to_doubling"] or 600) > 24:
            assert (
                "None would show a doubling within two years: look at every case"
                in (found["sentences"][-1])
            )


def test_groups_of_yes_and_no_have_events_of_their_own(db):
    whole = as_json(chart, db, "toxicity_symptoms")
    parts = as_json(chart, db, "toxicity_symptoms", "--by", "interpreter_needed")
    events = [sum(point["numerator"] for point in one["points"]) for one in parts]
    assert sum(events) == sum(point["numerator"] for point in whole["points"])
