"""Stated chances of false signals and delays against simulation through the charts themselves."""

from dataclasses import replace
from math import factorial

import numpy as np
import pytest

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.automaton import chance_of_firing, zone_automaton
from pipeline.analysis.charts.detectability import detectability
from pipeline.analysis.charts.false_runs import chance_of_signal
from pipeline.analysis.charts.point_models import band_chances, changed
from pipeline.analysis.charts.signals import DEFAULT_RULES, find_signals
from pipeline.analysis.charts.simulate import (
    BY_VALUE,
    Effort,
    simulate_delays,
    simulate_false_signals,
)
from pipeline.analysis.charts.sources import BandSource, ValueSource
from pipeline.analysis.charts.zones import ZONE_RULES
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
    source = BandSource(chances, chances)
    simulated = simulate_false_signals(source, rules, effort=Effort(series=20_000))
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


def test_chain_and_simulation_agree_on_zone_rules():
    rules = ("beyond_limit", "two_of_three", "four_of_five")
    chart = steady(0.2, np.full(24, 50), rules=rules)
    exact = detectability(chart, ratios=(1.5,)).delays[0]
    chances = band_chances(chart, np.arange(24), 1.5)
    source = BandSource(np.zeros((0, 9)), chances[-12:])
    simulated = simulate_delays(source, rules, effort=LIGHT)
    assert simulated.mean == pytest.approx(exact.months, abs=4 * simulated.standard_error)
    automaton = zone_automaton(rules)
    assert chance_of_firing(automaton, chances) > chance_of_firing(automaton, chances[:6])


def by_the_individual(points, rules):
    """Return the stated chance of a false signal of so many normal points, simulated."""
    x = np.resize([9.0, 11.0, 10.0, 12.0, 8.0], points)
    chart = control_chart(Counts(months(points), x, np.ones(points)), kind="individuals",
                          rules=rules, forced=True)  # fmt: skip
    everywhere = np.arange(points)
    source = ValueSource(chart, everywhere, everywhere, 1.0)
    return simulate_false_signals(source, rules, effort=Effort(series=40_000))


@pytest.mark.parametrize(
    ("rule", "points", "chance"),
    [
        # all 6! orders alike, two of them monotone
        ("six_trending", 6, 2 / 720),
        # the first six or the last six, less all seven
        ("six_trending", 7, 2 * (2 / 720 - 1 / 5040)),
        # up-down permutations: Euler number 199,360,981 of 14! (OEIS A000111, recalled)
        ("fourteen_alternating", 14, 2 * 199_360_981 / factorial(14)),
    ],
)
def test_rules_on_shape_have_the_chances_of_orders_counted(rule, points, chance):
    simulated = by_the_individual(points, (rule,))
    assert abs(simulated - chance) < 4 * np.sqrt(chance / 40_000)


@pytest.mark.parametrize("rule", ZONE_RULES)
@pytest.mark.parametrize("kind", ["p", "u"])
def test_every_rule_signals_falsely_as_stated_with_unequal_volumes(kind, rule):
    """Counts tie and volumes differ; the chart itself judges 600 series in control."""
    chart = steady(0.2, VOLUMES[kind], kind, rules=(rule,))
    found = detectability(chart, ratios=(2.0,), effort=LIGHT)
    assert found.not_judged == ()
    stated = found.false_signal
    share = np.mean([bool(find_signals(drawn_again(chart, x))) for x in in_control(chart, 600)])
    assert abs(share - stated) < 4 * np.sqrt(max(stated * (1 - stated), 1e-3) / 600) + 0.005
    assert found.delays[0].method == ("simulated" if rule in BY_VALUE else "exact")


def in_control(chart, number, rate=0.2):
    rng = np.random.default_rng(12)
    for _ in range(number):
        if chart.model == "binomial":
            yield rng.binomial(chart.denominator.astype(int), rate).astype(float)
        else:
            yield rng.poisson(rate * chart.denominator).astype(float)


@pytest.mark.parametrize("kind", ["run", "g", "t", "ewma"])
def test_zone_rules_are_said_not_to_judge_a_chart_without_a_sigma(kind):
    counts = Counts(months(30), np.resize([3.0, 9.0, 5.0], 30), np.ones(30))
    chart = control_chart(counts, kind=kind, forced=True, rules=("beyond_limit", "two_of_three"))
    assert detectability(chart, ratios=(), effort=LIGHT).not_judged == ("two_of_three",)
    assert "are not judged" in chart.notes[-1]


@pytest.mark.parametrize(
    ("kind", "x", "said"),
    [
        ("p", np.zeros(30), "twice or half of none is none; 2 in one period like the last"),
        ("p", np.full(30, 20.0), "None was without in the baseline"),
        ("u", np.zeros(30), "twice or half of none is none; 2 in one period like the last"),
        ("individuals", np.full(30, 3.0), "does not vary at all"),
        ("p'", np.full(30, 3.0), "does not vary at all"),
        ("g", np.zeros(30), "Every catheter of the baseline had the event"),
    ],
)
def test_a_baseline_without_room_for_a_change_says_so(kind, x, said):
    chart = control_chart(Counts(months(30), x, np.full(30, 20.0)), kind=kind, forced=True)
    found = detectability(chart, effort=LIGHT)
    assert all(delay.months == np.inf for delay in found.delays)
    assert silence(chart, found) == [found.unknown]
    assert said in found.unknown


def test_how_many_events_would_signal_after_none_is_what_the_chart_does():
    """After 30 quiet months of 20 catheters, 2 in a month: (1 / 31)^2 < 0.00135 < 1 / 31."""
    quiet = Counts(months(31), np.zeros(31), np.full(31, 20.0))
    said = detectability(control_chart(quiet, kind="p", forced=True)).unknown
    needed = int(said.split("; ")[1].split()[0])
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
    assert detectability(chart, ratios=(), effort=LIGHT).not_judged == DEFAULT_RULES[1:]


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
