"""Stated chances of false signals and delays against simulation through the charts themselves."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.automaton import chance_of_firing, zone_automaton
from pipeline.analysis.charts.detectability import detectability
from pipeline.analysis.charts.false_runs import chance_of_signal
from pipeline.analysis.charts.models import band_chances, changed
from pipeline.analysis.charts.signals import find_signals
from pipeline.analysis.charts.simulate import Effort, simulate_delays, simulate_false_signals

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
@pytest.mark.parametrize("rules", [("beyond_limit", "long_run", "few_crossings"),
                                   ("beyond_limit", "two_of_three", "eight_in_a_row")])  # fmt: skip
def test_in_control_series_signal_at_the_stated_rate(kind, rules):
    chart = steady(0.12, VOLUMES[kind], kind, rules=rules)
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


def test_the_exact_chance_by_run_rules_is_that_of_simulation():
    """Points may fall on the line here: 20 catheters at 10%, centre 2."""
    chart = steady(0.1, np.full(30, 20))
    chances = band_chances(chart, np.arange(30))
    assert chances[0, 4] > 0.2
    rules = {"beyond_limit", "long_run", "few_crossings"}
    exact = chance_of_signal(chances, rules)
    simulated = simulate_false_signals(chances, rules, effort=Effort(series=20_000))
    assert abs(exact - simulated) < 4 * np.sqrt(exact * (1 - exact) / 20_000)


def test_fair_points_have_the_published_chances_of_each_run_rule():
    """24 fair points: 0.03307 by the longest run, 0.04657 by crossings (exact recursion)."""
    fair = np.zeros((24, 9))
    fair[:, [3, 5]] = 0.5
    assert chance_of_signal(fair, {"long_run"}) == pytest.approx(0.033070, abs=6e-7)
    assert chance_of_signal(fair, {"few_crossings"}) == pytest.approx(0.046570, abs=6e-7)
    both = chance_of_signal(fair, {"long_run", "few_crossings"})
    assert 0.04657 < both < 0.03307 + 0.04657


def test_limits_alone_follow_the_tail_areas():
    chart = steady(0.12, VOLUMES["p"], rules=("beyond_limit",))
    chances = band_chances(chart, np.arange(36))
    out = chances[:, 0] + chances[:, -1]
    found = detectability(chart, ratios=(2.0,))
    assert found.false_signal == pytest.approx(1 - np.prod(1 - out), rel=1e-12)
    assert found.delays[0].method == "exact"
    doubled = band_chances(chart, np.arange(24, 36), 2.0)
    assert found.delays[0].months == pytest.approx(
        1 / np.mean(doubled[:, 0] + doubled[:, -1]), rel=1e-9
    )


def test_planted_shifts_are_found_within_the_stated_delay():
    """The rate doubles after 24 quiet months; redraw the chart each month until it signals."""
    volumes = np.full(24, 40)
    chart = steady(0.1, volumes)
    stated = detectability(chart, ratios=(2.0,)).delays[0]
    rng = np.random.default_rng(3)
    longer_charts = {wait: steady(0.1, np.full(24 + wait, 40)) for wait in range(1, 61)}
    waits = []
    while len(waits) < 100:
        before = rng.binomial(40, 0.1, 24)
        if find_signals(drawn_again(chart, before.astype(float))):
            continue
        after = rng.binomial(40, 0.2, 60)
        for wait in range(1, 61):
            x = np.concatenate([before, after[:wait]]).astype(float)
            longer = longer_charts[wait]
            if find_signals(drawn_again(longer, x)):
                waits.append(wait)
                break
    error = np.std(waits) / np.sqrt(len(waits))
    assert abs(np.mean(waits) - stated.months) < 4 * error + stated.standard_error
    assert stated.within_year > 0.9


def test_chain_and_simulation_agree_on_zone_rules():
    rules = ("beyond_limit", "two_of_three", "four_of_five")
    chart = steady(0.2, np.full(24, 50), rules=rules)
    exact = detectability(chart, ratios=(1.5,)).delays[0]
    chances = band_chances(chart, np.arange(24), 1.5)
    simulated = simulate_delays(np.zeros((0, 9)), chances[-12:], rules, effort=LIGHT)
    assert simulated.mean == pytest.approx(exact.months, abs=4 * simulated.standard_error)
    automaton = zone_automaton(rules)
    assert chance_of_firing(automaton, chances) > chance_of_firing(automaton, chances[:6])


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


@pytest.mark.parametrize("kind", ["p", "u", "run", "g", "t", "individuals", "ewma", "p'", "u'"])
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
    assert "unevenly by chance" in chart.notes[0]
    assert detectability(chart, ratios=()).false_signal < 0.1
