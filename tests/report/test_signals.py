"""New, continuing and ended signals: told by the list kept at the time, else by today's records."""

import datetime as dt
import shutil

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.phases import Need
from pipeline.answers.chart_series import ChartSeries, kind_of
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.findings import Finding, quarter_findings, rate_of
from pipeline.answers.safety import safety_calls
from pipeline.answers.verdicts import judge, of_signals
from pipeline.measures.catalogue import find_measure
from pipeline.measures.signal_log import LoggedSignal, keep_signals
from pipeline.report import narrative, signals_section
from pipeline.report.numbers import check
from pipeline.report.signals_section import Basis
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.words.chart import reason

MONTHS = tuple(f"{year}-{month:02d}" for year in (2024, 2025) for month in range(1, 13))
MEASURE = "dislodgement"
RUN = [12, 8, 13, 7, 12, 9, 13, 8, 12, 7, 13, 8, 12, 9, 5, 6, 5, 6, 5, 6, 5, 6, 5, 6]


def chart(events):
    counts = Counts(MONTHS[: len(events)], np.array(events, float), np.full(len(events), 100.0))
    return control_chart(counts, kind="p", multiplier=100, unit="per 100 catheters",
                         need=Need(14, 20))  # fmt: skip


def listed(kind="long_run", direction="below", first="2025-03", last="2025-09", measure=MEASURE):
    return LoggedSignal(measure, "all", kind, direction, first, last, "As said.")


def finding(events, before):
    measure, made = find_measure(MEASURE), chart(events)
    rate = rate_of(measure, "2025-Q4", None)
    better = measure.better
    return Finding(
        measure=measure, year_before=rate, quarters=(rate,), chart=made,
        verdict=judge(made, "2025-Q4", better, MEASURE),
        verdict_before=of_signals(before, better, rare=False),
    )  # fmt: skip


def test_a_run_that_was_listed_goes_on():
    assert finding(RUN, [listed()]).state == "continuing"


@pytest.mark.parametrize(
    "before", [[], [listed(direction="above")], [listed(kind="beyond_limit", last="2025-03")],
               [listed(first="2024-01", last="2024-09")]],
)  # fmt: skip
def test_a_run_that_was_not_listed_is_new(before):
    assert finding(RUN, before).state == "new"


def test_a_point_beyond_a_limit_is_new_though_another_was_listed():
    events = [10, 9] * 11 + [45, 10]
    before = [listed("beyond_limit", "above", "2025-08", "2025-08")]
    assert finding(events, before).state == "new"


def test_what_was_listed_and_is_no_more_has_ended_and_is_said_as_it_was_listed():
    quiet = finding([10, 9] * 12, [listed("beyond_limit", "above", "2025-08", "2025-08")])
    assert quiet.state == "ended"
    assert quiet.verdict_before.words == "above the limit in Aug 2025"
    (row,) = signals_section.signal_rows([quiet])
    assert (row.state, row.words, row.direction) == (
        "ended", "above the limit in Aug 2025", "worse"
    )  # fmt: skip


def test_signals_are_counted_by_state_and_each_has_its_row():
    going_on = finding(RUN, [listed(), listed("beyond_limit", "above", "2025-08", "2025-08")])
    rows = signals_section.signal_rows([going_on, finding(RUN, [])])
    assert [row.state for row in rows] == ["new", "continuing", "ended"]
    said = signals_section.signal_sentences(rows, Basis("2025-Q3", "2025-10-05"))
    assert said[0].text.endswith("1 new, 1 continuing and 1 ended.")
    assert "list kept for July to September 2025, made from the records as of 2025-10-05" in (
        said[1].text
    )
    check(signals_section.signal_numbers(rows), said)
    assert len(signals_section.signal_sheet(rows).rows) == 3


def test_a_quiet_quarter_has_a_sentence_and_no_table():
    said = signals_section.signal_sentences([], Basis("2025-Q3"))
    assert said[0].text.startswith("No chart of all sites together signals")
    assert "No list of signals was kept for July to September 2025" in said[1].text
    assert len(signals_section.signal_pieces([], said, Basis("2025-Q3"))) == 2


def test_the_report_takes_what_was_kept_for_the_quarter_before(store_path, tmp_path):
    """An invented signal, kept: today's records would not show it."""
    path = tmp_path / "dwell.duckdb"
    shutil.copy(store_path, path)
    with open_store(path, read_only=False) as store:
        basis = signals_section.signals_before(store, "2025-Q4")
        assert basis.kept_as_of == ""
        kept = [listed("beyond_limit", "above", "2025-08", "2025-08"), listed(measure="leakage")]
        keep_signals(store, "2025-Q3", kept, charts=126)
    with open_store(path) as store:
        assert signals_section.signals_before(store, "2025-Q4").kept_as_of == str(
            dt.date(2026, 1, 6)
        )
        found = quarter_findings(store, "2025-Q4", Settings())
    before = {f.measure.name: f.verdict_before.words for f in found if f.verdict_before.signals}
    assert before == {
        MEASURE: "above the limit in Aug 2025", "leakage": "shift down from Mar 2025"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "events", "kind"),
    [("redness_swelling", 10, "t"), ("redness_swelling", 11, "u"), ("difficult_removal", 40, "p"),
     ("leakage", 400, "p"), ("family_calls", 400, "u")],
)  # fmt: skip
def test_events_that_are_not_rare_are_counted_by_month(name, events, kind):
    months = pl.DataFrame({"with_event": [events] * 24})
    assert kind_of(find_measure(name), months, "month") == kind


def test_the_reason_of_a_chart_of_counts_names_the_one_of_the_card():
    counts = Counts(MONTHS, np.resize([19.0, 21.0], 24), np.full(24, 9000.0))
    series = ChartSeries(find_measure("redness_swelling"), "all", "u", counts, (), 0.0, 0.0)
    (made,) = draw_charts([series])
    assert "not the t chart of the measure's card, since the events are not rare" in reason(
        made, "t"
    )


def test_the_planted_cluster_of_symptoms_is_named_with_its_site_and_every_case(store_path):
    """Twenty times the rate at Curlew in two months, with far too few events for a baseline."""
    with open_store(store_path) as store:
        found = safety_calls(store, "2025-Q1", Settings())
    (call,) = [c for c in found if (c.measure.name, c.site) == ("toxicity_symptoms", "curlew")]
    cases = sum(number for _, number in call.cases)
    assert {month for month, _ in call.cases} & {"2025-02", "2025-03"}
    assert cases / call.catheters > 0.05
    first = narrative.what_changed([], [], safety=[call])[0]
    assert f"{cases} cases in" in first.text
    assert "Look at every case" in first.text
