"""Which of many charts can signal at all, asked of all their points at once.

Most charts are quiet: only the others are judged one by one.
"""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.limits import Limits
from pipeline.analysis.charts.results import Flags, Floats, Ints
from pipeline.analysis.charts.runs import crossings_limit, longest_run_limit, runs_of, sides
from pipeline.analysis.charts.signals import beyond
from pipeline.analysis.charts.stack import Stack


def may_signal(
    stack: Stack,
    value: Floats,
    centre: Floats,
    limits: Limits,
    *,
    runs_judged: Flags,
) -> Flags:
    """Return, for each series, whether a rule could fire on it.

    Parameters
    ----------
    stack : Stack
        The series.
    value, centre : float array, shape (points,)
    limits : Limits
    runs_judged : bool array, shape (points,)
        Points whose runs mean something.
    """
    found = np.zeros(len(stack.counts), bool)
    below, above = beyond(value, limits.lower, limits.upper)
    found[stack.series[stack.judged & (below | above)]] = True
    side = sides(value, centre)
    useful = stack.judged & runs_judged & (side != 0)
    found[stack.set_series[_runs_fire(side[useful], stack.limit_set[useful], stack.sets)]] = True
    return found


def _runs_fire(side: Ints, limit_set: Ints, sets: int) -> Flags:
    """Return, for each limit set, whether a run is too long or the crossings too few."""
    _, length, owner = runs_of(side, limit_set)
    size, runs = np.bincount(limit_set, minlength=sets), np.bincount(owner, minlength=sets)
    sizes, which = np.unique(size, return_inverse=True)
    most = np.array([longest_run_limit(n) for n in sizes.tolist()], np.int64)[which]
    fewest = np.array([crossings_limit(n) for n in sizes.tolist()], np.int64)[which]
    fires = (size > 0) & (runs - 1 < fewest)
    fires[owner[length > most[owner]]] = True
    return fires
