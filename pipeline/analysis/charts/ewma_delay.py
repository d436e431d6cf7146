"""How long an EWMA of a rate takes to signal, by seeded simulation of its own limits."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.ewma import WEIGHT, WIDTH
from pipeline.analysis.charts.models import baseline_rate
from pipeline.analysis.charts.results import ControlChart, Floats, Ints
from pipeline.analysis.charts.simulate import FULL, Delays, Effort


def ewma_false_signal(chart: ControlChart, *, effort: Effort = FULL) -> float:
    """Return the share of in-control series of this chart that signal somewhere."""
    rng = np.random.default_rng(effort.seed)
    points = np.flatnonzero(chart.judged & np.isfinite(chart.upper))
    series, rate = effort.series, baseline_rate(chart)
    fired, average, owner = np.zeros(series, bool), np.zeros(series), -1
    for i in points:
        if chart.limit_set[i] != owner:
            average, owner = np.full(series, rate[i]), int(chart.limit_set[i])
        exposure = chart.denominator[i]
        average = _next(average, rng.poisson(rate[i] * exposure, series) / exposure)
        fired |= _out(average * chart.multiplier, chart.lower[i], chart.upper[i])
    return float(fired.mean())


def ewma_delays(
    chart: ControlChart, recent: Ints, ratio: float, *, effort: Effort = FULL
) -> Delays:
    """Simulate the points until the average leaves its limits after a change.

    The average starts at the centre line with the steady limits that the recent
    exposures settle to.
    """
    rng = np.random.default_rng(effort.seed)
    rate = float(baseline_rate(chart)[recent[-1]])
    exposure = chart.denominator[recent]
    steady = WIDTH * np.sqrt(rate * np.mean(1 / exposure) * WEIGHT / (2 - WEIGHT))
    average, waiting = np.full(effort.series, rate), np.arange(effort.series)
    steps = np.full(effort.series, np.inf)
    for step in range(1, effort.horizon + 1):
        if waiting.size == 0:
            break
        n = rng.choice(exposure, waiting.size)
        average = _next(average, rng.poisson(ratio * rate * n) / n)
        fired = _out(average, max(rate - steady, 0.0), rate + steady)
        steps[waiting[fired]] = step
        waiting, average = waiting[~fired], average[~fired]
    return Delays(steps, effort.horizon)


def _next(average: Floats, value: Floats) -> Floats:
    return WEIGHT * value + (1 - WEIGHT) * average


def _out(average: Floats, lower: float, upper: float) -> np.ndarray:
    return (average < lower) | (average > upper)
