"""Where runs mean something: points must be about as likely above the line as below it.

Where a fraction of an event is expected each month nearly every point lies below
the mean, and long runs come by the skewness alone. The run rules assume even
odds, so they are not judged there; a chart of the time between events serves. Where
most points tie at the median, the others lie on one side of it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import special

from pipeline.analysis.charts.lines import pooled
from pipeline.analysis.charts.results import Flags, Floats
from pipeline.analysis.charts.runs import sides
from pipeline.analysis.charts.stack import Stack

EVEN_ODDS = (0.4, 0.6)
"""Share of useful points expected above the line between which runs are judged."""


def even_sets(stack: Stack, kinds: list[str], value: Floats, centre: Floats) -> Flags:
    """Return, for each limit set, whether its points are even enough for run rules.

    Of p, u and g charts the chances about the centre line are asked; of run charts
    the baseline's own points, whose median may be the value of most of them. Laney
    charts are taken as normal, and a t chart has no ties.
    """
    series_kind = {kind: _points_of(stack, kinds, kind) for kind in set(kinds) - {"p'", "u'"}}
    up, down = np.zeros(stack.sets), np.zeros(stack.sets)
    for kind, mine in series_kind.items():
        if kind not in ABOUT:
            continue
        asked = mine & stack.judged & np.isfinite(centre) & (stack.baseline | (kind != "run"))
        above, below = ABOUT[kind](stack, asked, value, centre)
        up += np.bincount(stack.limit_set[asked], above, stack.sets)
        down += np.bincount(stack.limit_set[asked], below, stack.sets)
    share = up / np.where(up + down > 0, up + down, np.nan)
    low, high = EVEN_ODDS
    return ~((share < low) | (share > high))


def _points_of(stack: Stack, kinds: list[str], kind: str) -> Flags:
    return np.array([each == kind for each in kinds], bool)[stack.series]


def _about_binomial(
    stack: Stack, asked: Flags, value: Floats, centre: Floats
) -> tuple[Floats, Floats]:
    n, p = stack.denominator[asked], np.clip(centre[asked], 0, 1)
    trials = np.maximum(np.rint(n), 1).astype(int)
    return _about(n * p, lambda x: special.bdtr(np.minimum(x, trials), trials, p))


def _about_poisson(
    stack: Stack, asked: Flags, value: Floats, centre: Floats
) -> tuple[Floats, Floats]:
    mean = stack.denominator[asked] * centre[asked]
    return _about(mean, lambda x: special.pdtr(x, mean))


def _about(mean: Floats, cdf: Callable[[Floats], Floats]) -> tuple[Floats, Floats]:
    """Return the chances of a count above and below its expectation."""
    under, at_most = np.ceil(mean - 1e-9) - 1, np.floor(mean + 1e-9)
    below = np.where(under < 0, 0.0, cdf(np.maximum(under, 0)))
    return 1 - cdf(at_most), below


def _about_median(
    stack: Stack, asked: Flags, value: Floats, centre: Floats
) -> tuple[Floats, Floats]:
    """Return the chances of a geometric gap above and below its median."""
    mean = pooled(stack)[stack.limit_set[asked]]
    no_event = 1 - 1 / (mean + 1)
    return no_event ** (centre[asked] + 1), 1 - no_event ** centre[asked]


def _about_own_median(
    stack: Stack, asked: Flags, value: Floats, centre: Floats
) -> tuple[Floats, Floats]:
    side = sides(value[asked], centre[asked])
    return (side > 0).astype(float), (side < 0).astype(float)


ABOUT = {
    "p": _about_binomial, "u": _about_poisson, "g": _about_median, "run": _about_own_median,
}  # fmt: skip
