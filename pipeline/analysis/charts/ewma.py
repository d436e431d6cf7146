"""Exponentially weighted moving average of a rate, with exact time-varying limits."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.results import Floats, Ints

WEIGHT = 0.2
"""Weight of the newest point."""

WIDTH = 2.962
"""Limits in sigma for an in-control run length of 500 at weight 0.2.

Lucas and Saccucci 1990, Technometrics 32:1-12 (recalled, not retrieved).
"""


def ewma_lines(
    value: Floats,
    centre: Floats,
    variance: Floats,
    series: Ints,
    limit_set: Ints,
    *,
    weight: float = WEIGHT,
    width: float = WIDTH,
) -> tuple[Floats, Floats, Floats, Floats]:
    r"""Return the average, its lower and upper limit, and its sigma, at each point.

    :math:`z_t = \lambda x_t + (1 - \lambda) z_{t-1}` from the centre line, with
    variance :math:`V_t = \lambda^2 \sigma_t^2 + (1 - \lambda)^2 V_{t-1}`, so
    that unequal denominators and the first points get their own limits. The
    average begins anew with each limit set and skips missing points.

    Parameters
    ----------
    value, centre, variance : float array, shape (k,)
        Points, centre line, and variance of each point in control.
    series, limit_set : int array, shape (k,)
        Series and limits of each point; equal ones are adjacent.
    weight, width : float
        Weight of the newest point; limits in sigma.
    """
    average, spread = np.full(value.shape, np.nan), np.full(value.shape, np.nan)
    z = v = 0.0
    for i in range(len(value)):
        if i == 0 or series[i] != series[i - 1] or limit_set[i] != limit_set[i - 1]:
            z, v = centre[i], 0.0
        if np.isfinite(value[i]) and np.isfinite(variance[i]):
            z = weight * value[i] + (1 - weight) * z
            v = weight**2 * variance[i] + (1 - weight) ** 2 * v
            average[i], spread[i] = z, np.sqrt(v)
    lower = np.maximum(centre - width * spread, 0)
    return average, lower, centre + width * spread, spread
