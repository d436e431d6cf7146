"""Signals: points beyond a limit, long runs, few crossings, and zone rules where asked for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import ControlChart, Flags, Floats, Ints, Signal, spoken
from pipeline.analysis.charts.runs import (
    crossings_limit,
    crossings_tail,
    longest_run_limit,
    longest_run_tail,
    runs_of,
    sides,
)
from pipeline.analysis.charts.zones import ZONE_RULES, zone_hits
from pipeline.words.chart import told_apart, unit_of

DEFAULT_RULES = ("beyond_limit", "long_run", "few_crossings")
RULES = (*DEFAULT_RULES, *ZONE_RULES)
RUN_RULES = frozenset({"long_run", "few_crossings"})
WITHOUT_RUNS = frozenset({"ewma"})
"""Charts whose points follow from one another, so that runs mean nothing."""


def rules_in_force(chart: ControlChart, points: Ints | None = None) -> frozenset[str]:
    """Return which of a chart's rules judge these points, or any of its points.

    An average that runs on is judged by its limits alone; runs only where points are
    even about the centre line; zones only where a point has a sigma.
    """
    rules = frozenset(chart.rules)
    here = slice(None) if points is None else points
    if chart.kind in WITHOUT_RUNS:
        return rules & {"beyond_limit"}
    if not chart.runs_judged[here].any():
        rules -= RUN_RULES
    return rules if np.isfinite(chart.sigma[here]).any() else rules - set(ZONE_RULES)


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
    """Judge one chart by its rules.

    Parameters
    ----------
    chart : ControlChart
        With limits in place; its `rules` say what is judged. Points that are
        provisional or missing neither signal nor count in a run. Suppressed ones
        count, since to leave out small counts would bend every run, but a signal
        that names one is not given.

    Returns
    -------
    tuple of Signal
        In the order of the rules, then of time.
    """
    found, rules = list[Signal](), rules_in_force(chart)
    if "beyond_limit" in rules:
        found += _beyond_signals(chart)
    if rules & RUN_RULES:
        runs = Runs.of(chart)
        found += _run_signals(chart, runs) if "long_run" in rules else []
        found += _crossing_signals(chart, runs) if "few_crossings" in rules else []
    found += _zone_signals(chart, [rule for rule in chart.rules if rule in rules & set(ZONE_RULES)])
    return tuple(s for s in found if not chart.suppressed[list(s.points)].any())


def _signal(
    chart: ControlChart, kind: str, points: np.ndarray, *, direction: str, text: str, p: float
) -> Signal:
    first, last = (chart.periods[int(points[0])], chart.periods[int(points[-1])])
    named = tuple(int(i) for i in points)
    return Signal(kind, named, first, last, direction, text, min(1.0, float(p)))


def _beyond_signals(chart: ControlChart) -> list[Signal]:
    below, above = beyond(chart.value, chart.lower, chart.upper)
    judged = int(np.sum(chart.judged & np.isfinite(chart.upper)))
    found = []
    for i in np.flatnonzero(chart.judged & (below | above)):
        side, limit = ("above", chart.upper[i]) if above[i] else ("below", chart.lower[i])
        name = "upper" if above[i] else "lower"
        value, bound = told_apart(float(chart.value[i]), float(limit))
        text = (
            f"{spoken(chart.periods[i])} lies {side} the {name} limit: "
            f"{value} {unit_of(chart)}".rstrip()
            + f" against {bound}."
        )
        p = point_tail(chart, int(i)) * judged
        found.append(_signal(chart, "beyond_limit", np.array([i]), direction=side, text=text, p=p))
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
        text = (
            f"{length} points in a row {side} the centre line, "
            f"{spoken(chart.periods[points[0]])} to {spoken(chart.periods[points[-1]])}; "
            f"among {n} points up to {limits[runs.owner[r]]} are ordinary."
        )
        p = longest_run_tail(n, int(length))
        found.append(_signal(chart, "long_run", points, direction=side, text=text, p=p))
    return found


def _crossing_signals(chart: ControlChart, runs: Runs) -> list[Signal]:
    found = []
    for owner in np.unique(runs.limit_set):
        points = runs.useful[runs.limit_set == owner]
        n, crossings = len(points), int(np.sum(runs.owner == owner)) - 1
        limit = crossings_limit(n)
        if crossings >= limit:
            continue
        times = {0: "is never crossed", 1: "is crossed only once"}.get(
            crossings, f"is crossed only {crossings} times"
        )
        text = (
            f"The centre line {times} from {spoken(chart.periods[points[0]])} "
            f"to {spoken(chart.periods[points[-1]])}; among {n} points at least {limit} "
            "crossings are ordinary."
        )
        p = crossings_tail(n, crossings)
        found.append(_signal(chart, "few_crossings", points, direction="both", text=text, p=p))
    return found


def _zone_signals(chart: ControlChart, rules: list[str]) -> list[Signal]:
    if not rules:
        return []
    z = (chart.value - chart.centre) / np.where(chart.sigma > 0, chart.sigma, np.nan)
    z[(sides(chart.value, chart.centre) == 0) & np.isfinite(z)] = 0.0
    found = []
    for owner in np.unique(chart.limit_set):
        places = np.flatnonzero(chart.judged & np.isfinite(z) & (chart.limit_set == owner))
        for rule in rules:
            for hit in zone_hits(z[places], rule):
                points = places[list(hit.points)]
                text = (
                    f"{hit.words}, {spoken(chart.periods[points[0]])} to "
                    f"{spoken(chart.periods[points[-1]])}."
                )
                p = ZONE_RULES[rule].chance * len(places)
                found.append(_signal(chart, rule, points, direction=hit.direction, text=text, p=p))
    return found


def point_tail(chart: ControlChart, i: int) -> float:
    """Return the two-sided chance of a point at least as far out as this one.

    Exact binomial, Poisson, geometric or exponential by the kind of chart;
    normal where the limits are (Laney, individuals, EWMA).
    """
    x, n = chart.numerator[i], chart.denominator[i]
    rate = chart.centre[i] / chart.multiplier
    if chart.kind == "p" and 0 < rate < 1:
        at_most, at_least = special.bdtr(np.floor(x), round(n), rate), _binomial_up(x, n, rate)
    elif chart.kind in {"u", "c"} and rate > 0:
        mean = rate * (1.0 if chart.kind == "c" else n)
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
