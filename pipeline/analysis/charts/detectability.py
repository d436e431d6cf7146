"""What silence means: false signals, and months until a real change would show.

Computed from the very limits and rules in force on a chart. Exact where a
Markov chain exists; otherwise by a seeded simulation that reports its error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.automaton import (
    CHAINED,
    Automaton,
    chance_of_firing,
    expected_steps,
    zone_automaton,
)
from pipeline.analysis.charts.ewma_delay import ewma_chain, ewma_false_signal
from pipeline.analysis.charts.false_runs import chance_of_signal
from pipeline.analysis.charts.point_models import band_chances, baseline_rate
from pipeline.analysis.charts.results import ControlChart, Floats, Ints
from pipeline.analysis.charts.signals import DEFAULT_RULES, rules_in_force
from pipeline.analysis.charts.simulate import (
    BY_VALUE,
    FULL,
    Effort,
    simulate_delays,
    simulate_false_signals,
)
from pipeline.analysis.charts.sources import source_of
from pipeline.analysis.charts.unusable_baseline import no_room

RATIOS = (2.0, 0.5, 1.5)
"""A doubling, a halving and a 50% rise."""

RECENT_POINTS = 12
"""Points whose volume stands for the volume to come."""

MOST_STATES = 1500
"""States of a chain that is solved; with more of them points are simulated."""

EXACT, SIMULATED = "exact", "simulated"


@dataclass(frozen=True)
class Delay:
    """Expected months until the chart signals a change of `ratio` in the rate.

    `months` is infinite where the chart would not be expected to see it within
    50 years of points; `within_year` is the chance of a signal within 12 months,
    NaN where points are not months. `standard_error` is the simulation's, zero
    where exact.
    """

    ratio: float
    months: float
    within_year: float
    method: str
    standard_error: float


@dataclass(frozen=True)
class Detectability:
    """What a chart can and cannot see.

    `false_signal` is the chance of at least one false signal over the points
    judged, the chart looked at once; NaN where that cannot be told. `not_judged` are
    rules asked for that cannot judge this chart. `unknown` says in a sentence why no
    delay can be told, where the baseline leaves no room for a change: all delays are
    infinite then.
    """

    points: int
    false_signal: float
    false_signal_method: str
    delays: tuple[Delay, ...]
    not_judged: tuple[str, ...]
    unknown: str = ""


def detectability(
    chart: ControlChart,
    *,
    ratios: Sequence[float] = RATIOS,
    months_per_point: float = 1.0,
    monthly_volume: float | None = None,
    effort: Effort = FULL,
) -> Detectability:
    """Compute what a chart can and cannot see.

    Parameters
    ----------
    chart : ControlChart
    ratios : sequence of float
        Changes in the rate to ask about. A proportion above one half changes in
        its shortfall.
    months_per_point : float
        One for months, three for quarters; not used for g and t charts.
    monthly_volume : float, optional
        Catheters (g) or catheter-days (t) a month, to turn points into months.
        Without it g and t charts have no delay in months.
    effort : Effort
        How many series are simulated, and for how many points.

    Returns
    -------
    Detectability
    """
    points = _judged(chart)
    not_judged = tuple(rule for rule in chart.rules if rule not in rules_in_force(chart))
    last = points[chart.limit_set[points] == chart.limit_set[points[-1]]] if points.size else points
    unknown = no_room(chart, last)
    if unknown:
        nothing = tuple(Delay(r, np.inf, np.nan, EXACT, 0.0) for r in ratios)
        return Detectability(points.size, float("nan"), EXACT, nothing, not_judged, unknown)
    false_signal, method = _false_signal(chart, points)
    asked = _Question(chart, last, months_per_point, monthly_volume, effort)
    delays = tuple(_delay(asked, ratio) for ratio in ratios)
    return Detectability(points.size, false_signal, method, delays, not_judged)


def _judged(chart: ControlChart) -> Ints:
    """Return the judged points that have a centre line to be judged by."""
    return np.flatnonzero(chart.judged & np.isfinite(chart.centre))


def _chain(rules: frozenset[str]) -> Automaton | None:
    """Return the exact chain of these rules, if there is one and it is not too large."""
    if not rules <= CHAINED:
        return None
    chain = zone_automaton(tuple(rules))
    return chain if len(chain.step) <= MOST_STATES else None


def _false_signal(chart: ControlChart, points: Ints) -> tuple[float, str]:
    """Return the chance of a false signal over all limit sets, and how it was found."""
    if chart.kind == "ewma":
        return (ewma_false_signal(chart), SIMULATED) if rules_in_force(chart) else (0.0, EXACT)
    quiet, method = 1.0, EXACT
    for owner in np.unique(chart.limit_set[points]):
        mine = points[chart.limit_set[points] == owner]
        rules = rules_in_force(chart, mine)
        if (chain := _chain(rules)) is not None:
            fired = chance_of_firing(chain, band_chances(chart, mine))
        elif rules <= set(DEFAULT_RULES):
            fired = chance_of_signal(band_chances(chart, mine), rules)
        else:
            source = source_of(chart, mine, mine, 1.0, by_value=not BY_VALUE.isdisjoint(rules))
            fired, method = simulate_false_signals(source, rules), SIMULATED
        quiet *= 1 - fired
    return 1 - quiet, method


@dataclass(frozen=True, eq=False)
class _Question:
    """A chart, the points of the limits in force at its end, and what a point means."""

    chart: ControlChart
    last: Ints
    months_per_point: float
    monthly_volume: float | None
    effort: Effort


def _delay(asked: _Question, ratio: float) -> Delay:
    """Return the expected months to a signal after a change of `ratio`."""
    chart, recent = asked.chart, asked.last[-RECENT_POINTS:]
    per_point, year = asked.months_per_point, round(12 / asked.months_per_point)
    if chart.is_of_gaps:
        per_point, year = _months_between(asked, ratio), 0
    rules = rules_in_force(chart, asked.last)
    if chart.kind == "ewma":
        points, within = ewma_chain(chart, recent, ratio, year) if rules else (np.inf, 0.0)
        return Delay(ratio, points * per_point, within, EXACT, 0.0)
    if (chain := _chain(rules)) is not None:
        future = band_chances(chart, recent, ratio)
        return _exact_delay(chain, future, ratio, per_point=per_point, year=year)
    by_value = not BY_VALUE.isdisjoint(rules)
    source = source_of(chart, asked.last, recent, ratio, by_value=by_value)
    delays = simulate_delays(source, rules, effort=asked.effort)
    within = delays.within(year) if year else float("nan")
    months, error = delays.mean * per_point, delays.standard_error * per_point
    return Delay(ratio, months, within, SIMULATED, error)


def _exact_delay(
    automaton: Automaton, future: Floats, ratio: float, *, per_point: float, year: int
) -> Delay:
    typical = future.mean(axis=0)
    months = expected_steps(automaton, typical) * per_point
    within = chance_of_firing(automaton, np.tile(typical, (year, 1))) if year else float("nan")
    return Delay(ratio, months, within, EXACT, 0.0)


def _months_between(asked: _Question, ratio: float) -> float:
    """Return the expected months from one event to the next after the change."""
    if not asked.monthly_volume:
        return float("inf")
    between = float(baseline_rate(asked.chart)[asked.last[-1]])
    catheters = (between + 1) / ratio if asked.chart.model == "geometric" else between / ratio
    return catheters / asked.monthly_volume
