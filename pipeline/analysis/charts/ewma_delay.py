"""When an EWMA of a rate signals: falsely by simulation of its own limits, truly by a chain."""

from __future__ import annotations

import numpy as np
from scipy import special

from pipeline.analysis.charts.chains import ewma_matrix, ewma_start, run_length
from pipeline.analysis.charts.ewma import WEIGHT, WIDTH
from pipeline.analysis.charts.point_models import baseline_rate
from pipeline.analysis.charts.results import ControlChart, Floats, Ints
from pipeline.analysis.charts.simulate import FULL, Effort


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


def ewma_chain(chart: ControlChart, recent: Ints, ratio: float, year: int) -> tuple[float, float]:
    """Return expected points to a signal after a change, and the chance of one within a year.

    The average starts at the centre line, with the steady limits that the recent
    exposures settle to; each later point has one of these exposures.

    Parameters
    ----------
    chart : ControlChart
    recent : int array
        Points whose exposures stand for those to come.
    ratio : float
        Change in the rate.
    year : int
        Points of a year.
    """
    rate = float(baseline_rate(chart)[recent[-1]])
    if not rate > 0:
        return float("inf"), 0.0
    exposure = chart.denominator[recent]
    steady = WIDTH * np.sqrt(rate * np.mean(1 / exposure) * WEIGHT / (2 - WEIGHT))
    lower, upper = max(rate - steady, 0.0), rate + steady

    def cdf(value: Floats) -> Floats:
        reached = np.floor(np.maximum(value, 0)[..., None] * exposure + 1e-9)
        chance = special.pdtr(reached, ratio * rate * exposure).mean(axis=-1)
        return np.where(value < 0, 0.0, chance)

    matrix = ewma_matrix(cdf, lower, upper, WEIGHT)
    start = ewma_start(rate, lower, upper)
    quiet = np.linalg.matrix_power(matrix, year)[start].sum()
    return run_length(matrix, start), float(1 - quiet)


def _next(average: Floats, value: Floats) -> Floats:
    return WEIGHT * value + (1 - WEIGHT) * average


def _out(average: Floats, lower: float, upper: float) -> np.ndarray:
    return (average < lower) | (average > upper)
