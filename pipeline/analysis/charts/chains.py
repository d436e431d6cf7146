"""Exact run lengths of CUSUM charts by a Markov chain on a grid.

Brook and Evans 1972, Biometrika 59:539-549: cut the statistic into narrow bands
and follow it as a Markov chain.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import linalg, optimize

from pipeline.analysis.charts.results import Floats

GRID = 300
"""Bands between zero and the limit."""

Masses = Callable[[float, int], Floats]


def lattice_masses(values: Floats, chances: Floats) -> Masses:
    """Return the masses of a discrete increment on a grid, its mean kept.

    An increment between two grid points is shared between them, so that the
    drift, which decides run lengths, is exact whatever the grid.
    """

    def masses(width: float, reach: int) -> Floats:
        place = np.clip(values / width, -reach, reach) + reach
        left = np.minimum(np.floor(place).astype(int), 2 * reach - 1)
        share = place - left
        total = np.bincount(left, chances * (1 - share), 2 * reach + 1)
        return np.asarray(total + np.bincount(left + 1, chances * share, 2 * reach + 1))

    return masses


def cusum_matrix(masses: Masses, limit: float, grid: int = GRID) -> Floats:
    """Return the transitions of a one-sided CUSUM below its limit.

    Parameters
    ----------
    masses : callable
        Of one step's increment.
    limit : float
        The sum that signals.
    grid : int
        Bands; band i stands for sums near ``i * limit / (grid - 1/2)``.
    """
    width = limit / (grid - 0.5)
    step = masses(width, grid)
    matrix = linalg.toeplitz(step[grid:0:-1], step[grid : 2 * grid])
    cumulative = np.cumsum(step)
    matrix[:, 0] = cumulative[grid::-1][:grid]
    return np.asarray(matrix)


def run_length(matrix: Floats, start: int = 0) -> float:
    """Return the expected steps until the chain is left, infinite if it never is."""
    leaving = np.eye(len(matrix)) - matrix
    with np.errstate(all="ignore"):
        try:
            steps = np.linalg.solve(leaving, np.ones(len(matrix)))[start]
        except np.linalg.LinAlgError:
            return float("inf")
    return float(steps) if np.isfinite(steps) and steps > 0 else float("inf")


def cusum_run_length(masses: Masses, limit: float, grid: int = GRID) -> float:
    """Return the expected steps from zero until a one-sided CUSUM passes its limit."""
    return run_length(cusum_matrix(masses, limit, grid))


def cusum_limit(masses: Masses, target: float, grid: int = GRID) -> float:
    """Return the limit that gives a stated in-control run length.

    Parameters
    ----------
    masses : callable
        Of one step's increment in control.
    target : float
        Expected steps to a false signal, above one.

    Raises
    ------
    ValueError
        If the target is not above one, or no limit reaches it.
    """
    if not target > 1:
        raise ValueError("the in-control run length must be above one step")
    low, high = 1e-3, 1.0
    while cusum_run_length(masses, high, grid) < target:
        low, high = high, 1.5 * high
        if high > 1e3:
            raise ValueError("no limit gives so long an in-control run")

    def gap(limit: float) -> float:
        return float(np.log(cusum_run_length(masses, limit, grid) / target))

    if gap(low) >= 0:
        return low
    return float(optimize.brentq(gap, low, high, xtol=1e-7, rtol=1e-7))
