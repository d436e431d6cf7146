"""Exact run lengths of CUSUM charts by a Markov chain on a grid.

Brook and Evans 1972, Biometrika 59:539-549: cut the statistic into narrow bands
and follow it as a Markov chain.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from math import ceil

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import Floats

COARSE = 60
"""Bands between zero and the limit, where thousands of limits are looked for."""

LIMITS = (0.05, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.5, 10.0, 13.0, 18.0)
CHANCES = np.array([0.0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5])
STEP, LEAST_MEAN, REACH, MOST_STEPS = 0.05, 1e-3, 9.0, 1e12

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


def cusum_matrix(masses: Masses, limit: float, grid: int) -> Floats:
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
    band = np.arange(grid)
    step = masses(limit / (grid - 0.5), grid)
    matrix = step[grid + band - band[:, None]]
    matrix[:, 0] = np.cumsum(step)[grid - band]
    return matrix


def run_length(matrix: Floats, start: Floats | None = None) -> float:
    """Return the expected steps until the chain is left, infinite if it never is.

    `start` has the chances of where it begins; at zero unless given.
    """
    leaving = np.eye(len(matrix)) - matrix
    with np.errstate(all="ignore"):
        try:
            steps = np.linalg.solve(leaving, np.ones(len(matrix)))
        except np.linalg.LinAlgError:
            return float("inf")
    expected = steps[0] if start is None else start @ steps
    return float(expected) if np.isfinite(expected) and expected > 0 else float("inf")


@dataclass(frozen=True, eq=False)
class Month:
    """How many events a month brings, and what each number is worth to one side of a CUSUM.

    Attributes
    ----------
    values : float array, shape (x,)
        Log-likelihood ratio of each number of events.
    mean : float
        Events expected in control.
    trials : int
        Catheters; 0 where the number is Poisson.
    """

    values: Floats
    mean: float
    trials: int

    @classmethod
    def of(cls, mean: float, chance: float, ratio: float) -> Month:
        """Return a month of `mean` events; a Poisson number where `chance` is zero."""
        trials = max(1, round(mean / chance)) if chance else 0
        most = np.ceil(mean + REACH * np.sqrt(mean) + REACH) * max(ratio, 1.0)
        x = np.arange(min(most, trials) + 1 if trials else most + 1)
        none = trials * np.log1p((ratio - 1) * mean / trials) if trials else (ratio - 1) * mean
        return cls(x * np.log(ratio) - none, mean, trials)

    def masses(self, ratio: float) -> Masses:
        """Return one month's evidence where the rate (or the odds) are `ratio` times as high."""
        x, mean = np.arange(self.values.size), self.mean * ratio
        if self.trials:
            p = self.mean / self.trials
            p = min(p * ratio / (1 - p + p * ratio), 1 - 1e-12)
            below = special.bdtr(x, self.trials, p)
        else:
            below = special.pdtr(x, mean)
        return lattice_masses(self.values, np.diff(below, prepend=0.0))


_masses = lru_cache(maxsize=4096)(lambda *of: Month.of(*of).masses(1.0))


@lru_cache(maxsize=65536)
def _log_months(mean: float, chance: float, ratio: float, limit: float) -> float:
    """Return the logarithm of the months to a false alarm at a limit."""
    matrix = cusum_matrix(_masses(mean, chance, ratio), limit, COARSE)
    matrix /= 1 + 1 / MOST_STEPS  # left at last, however seldom
    return float(np.log(np.clip(run_length(matrix), 1.0, MOST_STEPS)))


def _place(near: int, mean: float, chance: float, ratio: float, months: float) -> float:
    """Return where among `LIMITS` a false alarm takes so many months, sought from `near` on."""
    wanted, k = float(np.log(months)), near
    at = partial(_log_months, mean, chance, ratio)
    while k < len(LIMITS) and at(LIMITS[k]) < wanted:
        k += 1
    while k > 0 and at(LIMITS[k - 1]) >= wanted:
        k -= 1
    if k in {0, len(LIMITS)}:
        return min(k, len(LIMITS) - 1)
    below, above = map(at, LIMITS[k - 1 : k + 1])
    return k - 1 + (wanted - below) / (above - below)


def decision_limits(mean: Floats, chance: Floats, ratio: float, months: Floats) -> Floats:
    """Return the limits that give stated months to a false alarm, of many CUSUMs at once.

    Parameters
    ----------
    mean : float array, shape (m,)
        Events expected in a month.
    chance : float array, shape (m,)
        Chance of one catheter; zero for a rate.
    ratio : float
        The change looked for: of the odds, or of a rate.
    months : float array, shape (m,)
        Asked from one false alarm to the next.

    Notes
    -----
    Means are rounded to 5% steps and chances to `CHANCES`, so that thousands of charts
    share some hundred chains; between the limits of a chain logarithms are interpolated.
    """
    rounded = np.exp(np.round(np.log(np.maximum(mean, LEAST_MEAN)) / STEP) * STEP)
    nearest = CHANCES[np.abs(CHANCES - np.asarray(chance)[:, None]).argmin(axis=1)]
    keys, which = np.unique(np.stack([nearest, months, rounded]), axis=1, return_inverse=True)
    places = [0.0]
    for p, asked, m in keys.T.tolist():  # of one mean after the other: the next is not far
        places.append(_place(ceil(places[-1]), m, p, ratio, asked))
    return np.interp(places[1:], np.arange(len(LIMITS)), LIMITS)[which.ravel()]
