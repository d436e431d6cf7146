"""Runs on one side of the centre line, judged by how likely that side was.

Points exactly on the line count for neither side and break no run. Where events are few
a point falls more often on one side than the other, so that a run is measured by the
chance of its sides, not by its length: each point adds the binary logarithm of one over
the chance of its side. At even odds that is one a point, and the rule is a run of eight.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.analysis.charts.limits import once
from pipeline.analysis.charts.results import Floats, Ints
from pipeline.analysis.rates.distributions import binomial_at_most, poisson_at_most

RUN_BITS = 8.0
"""A run of eight at even odds; common practice, no source."""
NEAR = 1e-9


def sides(value: Floats, centre: Floats) -> Ints:
    """Return +1 above the centre line, -1 below, 0 on it or where there is no point."""
    gap = value - centre
    near = np.abs(gap) <= NEAR * np.maximum(np.abs(centre), 1e-300)
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


def bits(above: Floats, below: Floats, side: Ints) -> Floats:
    """Return what each point adds to its run, from the chances of both sides."""
    own = np.where(side > 0, above, below)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.nan_to_num(np.log2((above + below) / own), posinf=0.0)


def chances_about(kind: str, n: Floats, rate: Floats, centre: Floats) -> tuple[Floats, Floats]:
    """Return the chances of falling above and below the centre line, in control.

    Parameters
    ----------
    kind : str
        Of Laney's and of t charts, and where the line is a median of whole rates, both
        are even.
    n, rate, centre : float array, shape (k,)
        Denominator, baseline rate (or mean gap), and centre line of each point.
    """
    if kind in {"p", "u"}:
        volume, p, which = once(np.rint(n) if kind == "p" else n, rate)
        above, below = _about(
            volume * p,
            (lambda x: binomial_at_most(np.minimum(x, volume), volume, p))
            if kind == "p"
            else (lambda x: poisson_at_most(x, volume * p)),
        )
        return above[which], below[which]
    if kind == "g":
        no_event = 1 - 1 / (rate + 1)
        return no_event ** (centre + 1), 1 - no_event**centre
    return np.full(n.shape, 0.5), np.full(n.shape, 0.5)


def _about(mean: Floats, at_most: Callable[[Floats], Floats]) -> tuple[Floats, Floats]:
    """Return the chances of a count above and below its expectation."""
    return 1 - at_most(np.floor(mean + NEAR)), at_most(np.ceil(mean - NEAR) - 1)
