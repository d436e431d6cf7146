"""Run charts: the longest run and the number of crossings, and their chances.

Points exactly on the centre line count for neither rule.
"""

from __future__ import annotations

from functools import lru_cache
from math import log2

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import Floats, Ints

CROSSINGS_LEVEL = 0.05
"""Lower percentage point of the crossings rule; Anhøj and Olesen 2014."""


def longest_run_limit(n: int) -> int:
    """Return the longest run that is still ordinary among `n` useful points.

    A run **longer** than round(log2 n + 3) is a shift.

    References
    ----------
    Anhøj and Olesen 2014, PLoS ONE 9(11):e113825; Schilling 2012, Statistics and
    Probability Letters 82:351-355 (recalled, not retrieved).
    """
    return round(log2(n) + 3) if n > 0 else 0


@lru_cache(maxsize=1024)
def crossings_limit(n: int) -> int:
    """Return the fewest crossings that are still ordinary among `n` useful points.

    **Fewer** than the 5% point of binomial(n - 1, 1/2) is a signal.

    References
    ----------
    Anhøj and Olesen 2014, PLoS ONE 9(11):e113825.
    """
    if n < 2:
        return 0
    counts = np.arange(n)
    reached = special.bdtr(counts, n - 1, 0.5) >= CROSSINGS_LEVEL
    return int(counts[reached][0])


@lru_cache(maxsize=4096)
def longest_run_tail(n: int, length: int) -> float:
    """Return the chance that `n` fair points hold a run of at least `length` on one side.

    Runs among n points are runs of equal neighbours among n - 1 fair coin
    tosses, so the chance follows from the number of sequences without one, a
    linear recursion of order ``length - 1``.
    """
    if length <= 1:
        return 1.0 if n >= 1 else 0.0
    if n < length:
        return 0.0
    without = [1.0] + [0.0] * n  # chance that the first m points hold no such run
    for m in range(1, n + 1):
        last_run = range(1, min(m - 1, length - 1) + 1)
        without[m] = sum(without[m - j] * 0.5**j for j in last_run)
        without[m] += 0.5 ** (m - 1) if m < length else 0.0
    return max(0.0, 1.0 - without[n])


def crossings_tail(n: int, crossings: int) -> float:
    """Return the chance of at most `crossings` crossings among `n` fair points."""
    return float(special.bdtr(crossings, n - 1, 0.5)) if n >= 2 else 1.0


def sides(value: Floats, centre: Floats) -> Ints:
    """Return +1 above the centre line, -1 below, 0 on it or where there is no point."""
    gap = value - centre
    near = np.abs(gap) <= 1e-9 * np.maximum(np.abs(centre), 1e-300)
    side = np.where(near | ~np.isfinite(gap), 0, np.sign(np.nan_to_num(gap)))
    return side.astype(np.int64)


def runs_of(side: Ints, group: Ints) -> tuple[Ints, Ints, Ints]:
    """Cut useful points into runs on one side, never across two groups.

    Parameters
    ----------
    side : int array, shape (m,)
        +1 or -1 for each useful point, in time order within each group.
    group : int array, shape (m,)
        Which limits the point belongs to; equal groups are adjacent.

    Returns
    -------
    start, length, owner : int arrays, shape (r,)
        Index of each run's first point, its length, and its group.
    """
    if side.size == 0:
        empty = np.zeros(0, np.int64)
        return empty, empty, empty
    new = np.ones(side.size, bool)
    new[1:] = (side[1:] != side[:-1]) | (group[1:] != group[:-1])
    start = np.flatnonzero(new)
    length = np.diff(np.append(start, side.size))
    return start, length, group[start]
