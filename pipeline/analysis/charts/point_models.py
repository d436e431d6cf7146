"""How points of a chart would fall if the rate were what it was, doubled, or halved.

Every question of false signals and of delay reduces to the chance that a point
falls in each of five bands, by the centre line and the limits in force.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import GAPS, ControlChart, Floats, Ints

BANDS = ("below the lower limit", "below", "on the line", "above", "above the upper limit")
ON_LINE = BANDS.index("on the line")

MODELS = {
    "p": "binomial", "u": "poisson", "p'": "normal", "u'": "normal",
    "g": "geometric", "t": "exponential",
}  # fmt: skip

Tail = Callable[[Floats], Floats]


@dataclass(frozen=True, eq=False)
class PointModel:
    """Distribution functions of each point: at most a value, and under it."""

    at_most: Tail
    under: Tail


def baseline_rate(chart: ControlChart) -> Floats:
    """Return, at each point, the pooled baseline rate (or mean gap) of its limits."""
    x = np.where(chart.baseline, np.nan_to_num(chart.numerator), 0.0)
    n = np.where(chart.baseline, chart.denominator, 0.0)
    if chart.kind in GAPS:
        n = np.where(chart.baseline, 1.0, 0.0)
    held = np.bincount(chart.limit_set, n)
    rate = np.bincount(chart.limit_set, x) / np.where(held > 0, held, np.nan)
    return np.asarray(rate[chart.limit_set], dtype=float)


def changed(rate: Floats, ratio: float, *, proportion: bool) -> Floats:
    """Return the rate after a change.

    A proportion above one half changes in its shortfall: where 90% reach the
    standard, a doubling is 20% that do not.
    """
    if not proportion:
        return rate * ratio
    return np.where(rate <= 0.5, np.minimum(rate * ratio, 1), np.maximum(1 - (1 - rate) * ratio, 0))


def point_model(chart: ControlChart, points: Ints, ratio: float) -> PointModel:
    """Return the distribution of the named points once the rate has changed by `ratio`.

    Parameters
    ----------
    chart : ControlChart
    points : int array, shape (m,)
        Which points.
    ratio : float
        One for a process in control.
    """
    rate, n = baseline_rate(chart)[points], chart.denominator[points]
    times = chart.multiplier
    if chart.model == "binomial":
        p = changed(rate, ratio, proportion=True)
        return _counted(lambda x: special.bdtr(x, np.rint(n).astype(int), p), n / times)
    if chart.model == "poisson":
        mean = rate * ratio * n
        return _counted(lambda x: special.pdtr(x, mean), n / times)
    if chart.model == "geometric":
        q = np.minimum(ratio / (rate + 1), 1.0)
        return _counted(lambda x: 1 - (1 - q) ** (x + 1), np.full(n.shape, 1 / times))
    if chart.model == "exponential":
        mean_gap = np.maximum(rate, 1e-300)
        return _continuous(lambda x: -np.expm1(-np.maximum(x, 0) / times * ratio / mean_gap))
    return _normal(chart, points, rate, ratio)


def _counted(cdf: Tail, per_unit: Floats) -> PointModel:
    """Turn the distribution of a count into that of the plotted value."""

    def step(x: Floats) -> Floats:
        return np.where(x < 0, 0.0, cdf(np.maximum(x, 0)))

    return PointModel(
        at_most=lambda value: step(np.floor(value * per_unit + 1e-9)),
        under=lambda value: step(np.ceil(value * per_unit - 1e-9) - 1),
    )


def _continuous(cdf: Tail) -> PointModel:
    return PointModel(at_most=cdf, under=cdf)


def _normal(chart: ControlChart, points: Ints, rate: Floats, ratio: float) -> PointModel:
    mean, spread = _mean_and_spread(chart, points, rate, ratio)
    top = chart.multiplier if chart.kind == "p'" else np.inf

    def cdf(value: Floats) -> Floats:
        chance = special.ndtr((value - mean) / spread)
        return np.where(value <= 0, 0.0, np.where(value >= top, 1.0, chance))

    return _continuous(cdf)


def _mean_and_spread(
    chart: ControlChart, points: Ints, rate: Floats, ratio: float
) -> tuple[Floats, Floats]:
    """Return mean and standard deviation of normal points in the printed unit."""
    sigma, proportion = chart.sigma[points], chart.kind == "p'"
    mean = changed(rate, ratio, proportion=proportion)
    if proportion:
        spread = sigma * np.sqrt(mean * (1 - mean) / np.maximum(rate * (1 - rate), 1e-12))
    else:
        spread = sigma * np.sqrt(ratio)
    spread = np.where(np.isfinite(spread), np.maximum(spread, 1e-12), np.nan)
    return mean * chart.multiplier, spread


def _edges(chart: ControlChart, points: Ints) -> Floats:
    """Return the four values between the bands at each point; shape (4, m)."""
    centre = chart.centre[points]
    lower = np.nan_to_num(chart.lower[points], nan=-np.inf)
    upper = np.nan_to_num(chart.upper[points], nan=np.inf)
    return np.stack([lower, centre, centre, upper])


def band_chances(chart: ControlChart, points: Ints, ratio: float = 1.0) -> Floats:
    """Return the chance of each band at each of the named points.

    Parameters
    ----------
    chart : ControlChart
        With the limits in force; without limits no point falls beyond one.
    points : int array, shape (m,)
    ratio : float
        Change in the rate; one for a process in control.

    Returns
    -------
    float array, shape (m, 5)
        In the order of `BANDS`; rows add to one.
    """
    model = point_model(chart, points, ratio)
    edges = _edges(chart, points)
    passed = [_at(model.under, x) for x in edges[:ON_LINE]]
    passed += [_at(model.at_most, x) for x in edges[ON_LINE:]]
    ends = np.stack([np.zeros(len(points)), *passed, np.ones(len(points))], axis=1)
    chances = np.maximum(np.diff(ends, axis=1), 0)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))


def _at(tail: Tail, value: Floats) -> Floats:
    """Evaluate a distribution function, also at minus and plus infinity."""
    finite = np.where(np.isfinite(value), value, 0.0)
    return np.where(np.isfinite(value), tail(finite), np.where(value > 0, 1.0, 0.0))
