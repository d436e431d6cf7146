"""Verdicts in words: what a chart says about one quarter."""

import numpy as np
import pytest

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.cusum import RunLengths
from pipeline.analysis.charts.phases import Need
from pipeline.answers.chart_series import ChartSeries
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.verdicts import Verdict, judge, of_signals, with_sight
from pipeline.measures.catalogue import Better, find_measure
from pipeline.measures.signal_log import LoggedSignal
from pipeline.words.chart import headline

MONTHS = tuple(f"{year}-{month:02d}" for year in (2024, 2025) for month in range(1, 13))


def chart(events, *, kind="p", volume=100.0, provisional=0, months=20):
    flags = np.zeros(len(events), bool)
    flags[len(events) - provisional :] = True
    counts = Counts(
        MONTHS[-len(events) :], np.array(events, float), np.full(len(events), volume), flags
    )
    return control_chart(counts, kind=kind, multiplier=100, unit="per 100 catheters",
                         need=Need(months, 20))  # fmt: skip


STEADY = [9, 11, 10, 12, 8, 10, 11, 9, 10, 12, 8, 11, 9, 10, 11, 8, 12, 10, 9, 11, 10, 8, 11, 10]


def test_a_steady_quarter_is_steady():
    verdict = judge(chart(STEADY), "2025-Q4", Better.LOWER)
    assert (verdict.kind, verdict.words, verdict.direction) == ("steady", "steady", "")


def test_a_point_beyond_the_limit_is_named_by_its_month():
    verdict = judge(chart([*STEADY[:-2], 45, 10]), "2025-Q4", Better.LOWER)
    assert verdict.words == "above the limit in Nov 2025"
    assert verdict.clause == "The rate was above the upper limit in Nov 2025"
    assert verdict.direction == "worse"


def test_the_same_point_is_for_the_better_where_higher_is_better():
    verdict = judge(chart([*STEADY[:-2], 45, 10]), "2025-Q4", Better.HIGHER)
    assert verdict.direction == "better"


def test_a_signal_of_an_earlier_quarter_is_not_this_quarters():
    events = [*STEADY[:-5], 45, *STEADY[-4:]]
    assert judge(chart(events), "2025-Q4", Better.LOWER).kind == "steady"
    assert judge(chart(events), "2025-Q3", Better.LOWER).kind == "beyond"


def test_a_long_run_after_the_baseline_is_a_shift_from_its_first_month():
    events = [*[12, 8] * 7, *[5, 6] * 5]
    made = control_chart(
        Counts(MONTHS, np.array(events, float), np.full(24, 100.0)), kind="p", need=Need(14, 20)
    )
    verdict = judge(made, "2025-Q4", Better.LOWER)
    assert verdict.kind == "shift"
    assert verdict.words == "shift down from Mar 2025"
    assert verdict.direction == "better"
    assert not verdict.is_call


def test_evidence_is_a_watch_and_then_a_call_since_the_first_month_that_told():
    def signal(kind):
        return LoggedSignal("x", "all", kind, "above", "2025-09", "2025-12", "")

    watch = of_signals([signal("watch")], Better.LOWER, rare=False)
    assert (watch.words, watch.direction, watch.is_call) == (
        "may be up since Sep 2025: watch", "worse", False,
    )  # fmt: skip
    call = of_signals([signal("watch"), signal("call")], Better.LOWER, rare=False)
    assert (call.words, call.clause, call.is_call) == (
        "up since Sep 2025", "The rate has been up since Sep 2025", True,
    )  # fmt: skip
    rare = of_signals([signal("call")], Better.LOWER, rare=True)
    assert (rare.words, rare.direction) == ("events further apart since Sep 2025", "better")
    rare = of_signals([signal("watch")], Better.LOWER, rare=True)
    assert rare.words == "events may be further apart since Sep 2025: watch"


def test_a_rare_event_chart_speaks_of_events_closer_together():
    counts = Counts(MONTHS, np.array([100.0] * 21 + [0.05, 90.0, 110.0]), np.ones(24))
    verdict = judge(control_chart(counts, kind="t"), "2025-Q4", Better.LOWER)
    assert verdict.words == "events closer together in Oct 2025"
    assert verdict.direction == "worse"


def test_a_quarter_of_provisional_months_is_provisional():
    assert judge(chart(STEADY, provisional=3), "2025-Q4", Better.LOWER).kind == "provisional"


def test_few_months_are_setting_their_baseline():
    verdict = judge(chart(STEADY[:6], months=24), "2025-Q4", Better.LOWER)
    assert verdict.words == "setting its baseline"


def test_a_quarter_without_months_has_no_figures():
    assert judge(chart(STEADY), "2026-Q2", Better.LOWER).kind == "no_data"


def test_a_few_gaps_between_events_are_still_gaps():
    counts = Counts(MONTHS[:9], np.array([100.0, 90, 80, 9, 8, 7, 9, 8, 7]), np.ones(9))
    made = control_chart(counts, kind="t", unit="catheter-days between events")
    assert made.kind == "run"
    assert judge(made, "2025-Q4", Better.LOWER).words == "setting its baseline"


@pytest.mark.parametrize(("months", "words"), [(3.0, "steady"), (25.0, "too few to tell")])
def test_a_chart_that_cannot_see_a_doubling_in_two_years_says_so(months, words):
    assert with_sight(Verdict("steady"), months).words == words


def test_a_signal_stays_a_signal_however_blind_the_chart():
    signal = Verdict("beyond")
    assert with_sight(signal, 500.0) is signal


LONG = tuple(f"{year}-{month:02d}" for year in (2023, 2024, 2025) for month in range(1, 13))


@pytest.mark.parametrize(
    ("months", "quarter", "words", "title"),
    [
        (27, "2025-Q1", "steady", "x: steady at 12"),
        (30, "2025-Q2", "may be up since Apr 2025: watch", "x: may be up since Apr 2025: watch"),
        (33, "2025-Q3", "up since Apr 2025", "x: up since Apr 2025"),
        (36, "2025-Q4", "up since Apr 2025", "x: up since Apr 2025"),
    ],
)
def test_a_level_that_moved_unlogged_is_said_since_the_first_month_that_told(
    months, quarter, words, title
):
    """13 catheters a month, 12% dislodged for 24 months and then 28%, no change logged."""
    events = np.concatenate([np.resize([1, 2, 1, 2], 24), np.resize([4, 3, 4, 4], 12)])[:months]
    counts = Counts(LONG[:months], events.astype(float), np.full(months, 13.0))
    measure = find_measure("dislodgement")
    series = ChartSeries(measure, "all", "p", counts, (), 0.0, 0.0, runs=RunLengths(360, 800))
    (chart,) = draw_charts([series])
    assert judge(chart, quarter, Better.LOWER).words == words
    assert headline(chart, "x").startswith(title)
