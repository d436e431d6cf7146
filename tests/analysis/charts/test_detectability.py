"""Stated chances of false signals and delays against simulation through the charts themselves."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.detectability import detectability
from pipeline.analysis.charts.false_runs import chance_of_signal
from pipeline.analysis.charts.point_models import band_chances, changed
from pipeline.analysis.charts.signals import RULES, find_signals
from pipeline.analysis.charts.simulate import Effort
from pipeline.words.chart import notes
from pipeline.words.silence import silence

LIGHT = Effort(series=1500, horizon=300)


def months(k):
    return tuple(f"{2021 + i // 12}-{i % 12 + 1:02d}" for i in range(k))


def steady(rate, n, kind="p", **options):
    """Make a chart whose baseline has exactly `rate`; invented."""
    n = np.asarray(n, dtype=float)
    counts = Counts(months(len(n)), rate * n, n)
    return control_chart(counts, kind=kind, forced=True, **options)


VOLUMES = {
    "p": np.resize([18, 25, 40, 33], 36),
    "u": np.resize([60.0, 81.5, 100.25], 36),
}


def drawn_again(chart, numerator):
    value = numerator / chart.denominator * chart.multiplier
    return replace(chart, numerator=numerator, value=value)


@pytest.mark.parametrize("kind", ["p", "u"])
def test_in_control_series_signal_at_the_stated_rate(kind):
    chart = steady(0.12, VOLUMES[kind], kind)
    stated = detectability(chart, ratios=()).false_signal
    rng = np.random.default_rng(11)
    fired = []
    for _ in range(1500):
        if kind == "p":
            x = rng.binomial(chart.denominator.astype(int), 0.12)
        else:
            x = rng.poisson(0.12 * chart.denominator)
        fired.append(bool(find_signals(drawn_again(chart, x.astype(float)))))
    error = np.sqrt(stated * (1 - stated) / 1500)
    assert abs(np.mean(fired) - stated) < 4 * error
    assert 0.01 < stated < 0.5


def test_fair_points_have_the_published_chances_of_each_run_rule():
    """24 fair points: 0.03307 by the longest run, 0.04657 by crossings (exact recursion)."""
    fair = np.zeros((24, 5))
    fair[:, [1, 3]] = 0.5
    assert chance_of_signal(fair, {"long_run"}) == pytest.approx(0.033070, abs=6e-7)
    assert chance_of_signal(fair, {"few_crossings"}) == pytest.approx(0.046570, abs=6e-7)
    both = chance_of_signal(fair, {"long_run", "few_crossings"})
    assert 0.04657 < both < 0.03307 + 0.04657


def test_limits_alone_follow_the_tail_areas():
    chart = replace(steady(0.12, VOLUMES["p"]), runs_judged=np.zeros(36, bool))
    chances = band_chances(chart, np.arange(36))
    out = chances[:, 0] + chances[:, -1]
    found = detectability(chart, ratios=(2.0,))
    assert found.false_signal == pytest.approx(1 - np.prod(1 - out), rel=1e-12)
    assert found.delays[0].method == "exact"
    doubled = band_chances(chart, np.arange(24, 36), 2.0)
    assert found.delays[0].months == pytest.approx(
        1 / np.mean(doubled[:, 0] + doubled[:, -1]), rel=1e-9
    )


@pytest.mark.parametrize(
    ("kind", "x", "said"),
    [
        ("p", np.zeros(30), "twice or half of none is none; 2 in one period like the last"),
        ("p", np.full(30, 20.0), "None was without in the baseline"),
        ("u", np.zeros(30), "twice or half of none is none; 2 in one period like the last"),
        ("p'", np.full(30, 3.0), "does not vary at all"),
        ("g", np.zeros(30), "Every catheter of the baseline had the event"),
    ],
)
def test_a_baseline_without_room_for_a_change_says_so(kind, x, said):
    chart = control_chart(Counts(months(30), x, np.full(30, 20.0)), kind=kind, forced=True)
    found = detectability(chart, effort=LIGHT)
    assert all(delay.months == np.inf for delay in found.delays)
    (sentence,) = silence(chart, found)
    assert said in sentence


def test_how_many_events_would_signal_after_none_is_what_the_chart_does():
    """After 30 quiet months of 20 catheters, 2 in a month: (1 / 31)^2 < 0.00135 < 1 / 31."""
    quiet = Counts(months(31), np.zeros(31), np.full(31, 20.0))
    needed = detectability(control_chart(quiet, kind="p", forced=True)).unknown.needed
    for events, signals in ((needed - 1, False), (needed, True)):
        x = np.zeros(31)
        x[30] = events
        chart = control_chart(Counts(months(31), x, np.full(31, 20.0)), kind="p", forced=True,
                              baseline=("2021-01", "2023-06"))  # fmt: skip
        assert bool(chart.signals) == signals


@pytest.mark.parametrize(("kind", "x"), [("run", np.resize([0, 0, 0, 1.0], 36)),
                                         ("g", np.resize([0, 0, 1.0, 0, 2.0], 36))])  # fmt: skip
def test_points_tied_at_the_median_make_no_long_run(kind, x):
    chart = control_chart(Counts(months(36), x, np.ones(36)), kind=kind, forced=True)
    assert not chart.runs_judged.any()
    assert not {signal.kind for signal in chart.signals} & {"long_run", "few_crossings"}
    assert detectability(chart, ratios=(), effort=LIGHT).not_judged == RULES[1:]


def test_larger_volume_sees_sooner_and_larger_changes_are_seen_sooner():
    small = detectability(steady(0.1, np.full(24, 20)), ratios=(2.0, 1.5), effort=LIGHT).delays
    large = detectability(steady(0.1, np.full(24, 80)), ratios=(2.0, 1.5), effort=LIGHT).delays
    assert large[0].months < small[0].months
    assert small[0].months < small[1].months


def test_the_same_chart_gives_the_same_figures():
    chart = steady(0.1, np.full(24, 20))
    assert detectability(chart, effort=LIGHT) == detectability(chart, effort=LIGHT)


def test_a_proportion_near_one_changes_in_its_shortfall():
    assert changed(np.array([0.9]), 2.0, proportion=True)[0] == pytest.approx(0.8)
    assert changed(np.array([0.9]), 0.5, proportion=True)[0] == pytest.approx(0.95)
    assert changed(np.array([0.3]), 2.0, proportion=True)[0] == pytest.approx(0.6)


@pytest.mark.parametrize("kind", ["g", "t"])
def test_rare_event_charts_answer_in_months(kind):
    gaps = np.resize([12.0, 40.0, 25.0], 30)
    chart = control_chart(Counts(months(30), gaps, np.ones(30)), kind=kind)
    known = detectability(chart, ratios=(0.5,), monthly_volume=50, effort=LIGHT).delays[0]
    half = detectability(chart, ratios=(0.5,), monthly_volume=25, effort=LIGHT).delays[0]
    unknown = detectability(chart, ratios=(0.5,), effort=LIGHT).delays[0]
    assert half.months == pytest.approx(2 * known.months)
    assert unknown.months == np.inf


@pytest.mark.parametrize("kind", ["p", "u", "run", "g", "t", "p'", "u'"])
@pytest.mark.parametrize(("x", "n"), [([], []), ([0], [0]), ([2], [9]), ([0] * 20, [9] * 20),
                                      ([9] * 20, [9] * 20)])  # fmt: skip
def test_odd_charts_have_an_answer(kind, x, n):
    chart = control_chart(Counts(months(len(x)), x, n), kind=kind, forced=True)
    found = detectability(chart, effort=Effort(series=50, horizon=50), monthly_volume=10)
    assert np.isnan(found.false_signal) or 0 <= found.false_signal <= 1
    assert all(delay.months > 0 or np.isnan(delay.months) for delay in found.delays)


def test_runs_are_not_judged_where_events_are_too_few():
    """A third of an event a month: nearly every month lies below the mean by skewness."""
    rng = np.random.default_rng(8)
    x = rng.poisson(0.35, 36)
    chart = control_chart(Counts(months(36), x, np.full(36, 70.0)), kind="u", forced=True)
    assert not chart.runs_judged.any()
    assert {signal.kind for signal in chart.signals} <= {"beyond_limit"}
    assert "unevenly by chance" in notes(chart)[0]
    assert detectability(chart, ratios=()).false_signal < 0.1
