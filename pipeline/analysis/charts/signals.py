"""Signals: points beyond a limit, long runs, few crossings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import ControlChart, Flags, Floats, Ints, Signal
from pipeline.analysis.charts.runs import (
    crossings_limit,
    crossings_tail,
    longest_run_limit,
    longest_run_tail,
    runs_of,
    sides,
)

RULES = ("beyond_limit", "long_run", "few_crossings")


def runs_in_force(chart: ControlChart, points: Ints | None = None) -> bool:
    """Return whether runs and crossings judge these points, or any of the chart's.

    Only where points are even about the centre line.
    """
    return bool(chart.runs_judged[slice(None) if points is None else points].any())


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of useful points within each limit set of one chart."""

    useful: np.ndarray
    limit_set: np.ndarray
    start: np.ndarray
    length: np.ndarray
    owner: np.ndarray

    @classmethod
    def of(cls, chart: ControlChart) -> Runs:
        """Cut the judged points of a chart into runs."""
        side = sides(chart.value, chart.centre)
        useful = np.flatnonzero(chart.judged & chart.runs_judged & (side != 0))
        groups = chart.limit_set[useful]
        return cls(useful, groups, *runs_of(side[useful], groups))


def beyond(value: Floats, lower: Floats, upper: Floats) -> tuple[Flags, Flags]:
    """Return which points lie strictly below the lower and above the upper limit."""
    slack = 1e-9 * np.maximum(np.abs(value), 1e-300)
    with np.errstate(invalid="ignore"):
        return value < lower - slack, value > upper + slack


def find_signals(chart: ControlChart) -> tuple[Signal, ...]:
    """Judge one chart.

    Parameters
    ----------
    chart : ControlChart
        With limits in place. Points that are provisional or missing neither signal
        nor count in a run.

    Returns
    -------
    tuple of Signal
        In the order of `RULES`, then of time.
    """
    runs = Runs.of(chart)
    return (*_beyond_signals(chart), *_run_signals(chart, runs), *_crossing_signals(chart, runs))


def _signal(
    chart: ControlChart,
    kind: str,
    points: np.ndarray,
    *,
    direction: str,
    p: float,
    useful: int = 0,
    crossings: int = 0,
) -> Signal:
    first, last = (chart.periods[int(points[0])], chart.periods[int(points[-1])])
    named = tuple(int(i) for i in points)
    return Signal(kind, named, first, last, direction, min(1.0, float(p)), useful, crossings)


def _beyond_signals(chart: ControlChart) -> list[Signal]:
    below, above = beyond(chart.value, chart.lower, chart.upper)
    judged = int(np.sum(chart.judged & np.isfinite(chart.upper)))
    found = []
    for i in np.flatnonzero(chart.judged & (below | above)):
        side = "above" if above[i] else "below"
        p = point_tail(chart, int(i)) * judged
        found.append(_signal(chart, "beyond_limit", np.array([i]), direction=side, p=p))
    return found


def _run_signals(chart: ControlChart, runs: Runs) -> list[Signal]:
    found: list[Signal] = []
    if runs.useful.size == 0:
        return found
    sizes = np.bincount(runs.limit_set)
    limits = np.array([longest_run_limit(int(n)) for n in sizes])
    for r in np.flatnonzero(runs.length > limits[runs.owner]):
        start, length, n = runs.start[r], runs.length[r], int(sizes[runs.owner[r]])
        points = runs.useful[start : start + length]
        side = "above" if chart.value[points[0]] > chart.centre[points[0]] else "below"
        p = longest_run_tail(n, int(length))
        found.append(_signal(chart, "long_run", points, direction=side, p=p, useful=n))
    return found


def _crossing_signals(chart: ControlChart, runs: Runs) -> list[Signal]:
    found = []
    for owner in np.unique(runs.limit_set):
        points = runs.useful[runs.limit_set == owner]
        n, crossings = len(points), int(np.sum(runs.owner == owner)) - 1
        if crossings >= crossings_limit(n):
            continue
        p = crossings_tail(n, crossings)
        found.append(
            _signal(chart, "few_crossings", points, direction="both", p=p, useful=n,
                    crossings=crossings)
        )  # fmt: skip
    return found


def point_tail(chart: ControlChart, i: int) -> float:
    """Return the two-sided chance of a point at least as far out as this one.

    Exact binomial, Poisson or exponential by the kind of chart; normal where the
    limits are (Laney).
    """
    x, n = chart.numerator[i], chart.denominator[i]
    rate = chart.centre[i] / chart.multiplier
    if chart.kind == "p" and 0 < rate < 1:
        at_most, at_least = special.bdtr(np.floor(x), round(n), rate), _binomial_up(x, n, rate)
    elif chart.kind == "u" and rate > 0:
        mean = rate * n
        at_most, at_least = special.pdtr(x, mean), special.gammainc(x, mean) if x > 0 else 1.0
    elif chart.kind == "t" and rate > 0:
        at_least = float(np.exp(-x * np.log(2) / rate))
        at_most = 1 - at_least
    elif np.isfinite(chart.sigma[i]) and chart.sigma[i] > 0:
        z = (chart.value[i] - chart.centre[i]) / chart.sigma[i]
        at_most, at_least = special.ndtr(z), special.ndtr(-z)
    else:
        at_most = at_least = special.ndtr(-3.0)
    return min(1.0, 2 * float(min(at_most, at_least)))


def _binomial_up(x: float, n: float, p: float) -> float:
    return float(special.bdtrc(np.ceil(x) - 1, round(n), p)) if x > 0 else 1.0
