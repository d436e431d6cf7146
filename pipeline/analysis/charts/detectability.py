"""What silence means: false signals, and months until a real change would show.

Computed from the very limits and rules in force on a chart. False signals are exact,
and so are delays by limits alone; delays by runs come from a seeded simulation that
reports its error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.false_runs import chance_of_signal
from pipeline.analysis.charts.point_models import band_chances, baseline_rate
from pipeline.analysis.charts.results import ControlChart, Floats, Ints
from pipeline.analysis.charts.signals import RULES, runs_in_force
from pipeline.analysis.charts.simulate import FULL, Effort, simulate_delays
from pipeline.analysis.charts.unusable_baseline import NoRoom, no_room

RATIOS = (2.0, 0.5, 1.5)
"""A doubling, a halving and a 50% rise."""

RECENT_POINTS = 12
"""Points whose volume stands for the volume to come."""

LEAST_CHANCE = 1e-14
"""Chance of a point beyond a limit under which none is expected ever."""

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
    rules that cannot judge this chart. `unknown` says why no delay can be told, where
    the baseline leaves no room for a change: all delays are infinite then.
    """

    points: int
    false_signal: float
    delays: tuple[Delay, ...]
    not_judged: tuple[str, ...]
    unknown: NoRoom | None = None


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
    not_judged = () if runs_in_force(chart) else RULES[1:]
    last = points[chart.limit_set[points] == chart.limit_set[points[-1]]] if points.size else points
    unknown = no_room(chart, last)
    if unknown:
        nothing = tuple(Delay(r, np.inf, np.nan, EXACT, 0.0) for r in ratios)
        return Detectability(points.size, float("nan"), nothing, not_judged, unknown)
    asked = _Question(chart, last, months_per_point, monthly_volume, effort)
    delays = tuple(_delay(asked, ratio) for ratio in ratios)
    return Detectability(points.size, _false_signal(chart, points), delays, not_judged)


def _judged(chart: ControlChart) -> Ints:
    """Return the judged points that have a centre line to be judged by."""
    return np.flatnonzero(chart.judged & np.isfinite(chart.centre))


def _false_signal(chart: ControlChart, points: Ints) -> float:
    """Return the chance of a false signal over all limit sets."""
    quiet = 1.0
    for owner in np.unique(chart.limit_set[points]):
        mine = points[chart.limit_set[points] == owner]
        chances = band_chances(chart, mine)
        judged = runs_in_force(chart, mine)
        quiet *= 1 - (chance_of_signal(chances, RULES) if judged else _any_out(chances))
    return 1 - quiet


def _any_out(chances: Floats) -> float:
    """Return the chance that any of some points lies beyond a limit."""
    return float(1 - np.prod(1 - chances[:, 0] - chances[:, -1]))


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
    future = band_chances(chart, recent, ratio)
    if not runs_in_force(chart, asked.last):
        return _by_limits(future, ratio, per_point=per_point, year=year)
    delays = simulate_delays(band_chances(chart, asked.last), future, effort=asked.effort)
    within = delays.within(year) if year else float("nan")
    months, error = delays.mean * per_point, delays.standard_error * per_point
    return Delay(ratio, months, within, SIMULATED, error)


def _by_limits(future: Floats, ratio: float, *, per_point: float, year: int) -> Delay:
    """Return the delay by limits alone, each point like the average of the recent ones."""
    typical = future.mean(axis=0)
    out = float(typical[0] + typical[-1])
    points = 1 / out if out > LEAST_CHANCE else np.inf
    within = _any_out(np.tile(typical, (year, 1))) if year else float("nan")
    return Delay(ratio, points * per_point, within, EXACT, 0.0)


def _months_between(asked: _Question, ratio: float) -> float:
    """Return the expected months from one event to the next after the change."""
    if not asked.monthly_volume:
        return float("inf")
    between = float(baseline_rate(asked.chart)[asked.last[-1]])
    catheters = (between + 1) / ratio if asked.chart.model == "geometric" else between / ratio
    return catheters / asked.monthly_volume
