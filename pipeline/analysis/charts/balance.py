"""Where runs mean something: points must be about as likely above the line as below it.

Where a fraction of an event is expected each month nearly every point lies below
the mean, and long runs come by the skewness alone. The run rules assume even
odds, so they are not judged there; a chart of the time between events serves.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import PROPORTIONS, Flags, Floats
from pipeline.analysis.charts.stack import Stack

EVEN_ODDS = (0.4, 0.6)
"""Share of useful points expected above the line between which runs are judged."""

UNEVEN = (
    "So few events are expected in each period that points fall above and below the centre "
    "line unevenly by chance; runs and crossings are not judged."
)


def even_sets(stack: Stack, kinds: list[str], centre: Floats) -> Flags:
    """Return, for each limit set, whether its points are even enough for run rules.

    Only p, u and c charts are asked: Laney and individuals charts are taken as
    normal, and the others have a median for a centre line.
    """
    counted = np.array([kind in {"p", "u", "c"} for kind in kinds], bool)[stack.series]
    asked = counted & stack.judged & np.isfinite(centre)
    above, below = _chances(stack, kinds, centre, asked)
    up = np.bincount(stack.limit_set[asked], above, stack.sets)
    down = np.bincount(stack.limit_set[asked], below, stack.sets)
    share = up / np.where(up + down > 0, up + down, np.nan)
    low, high = EVEN_ODDS
    return ~((share < low) | (share > high))


def _chances(stack: Stack, kinds: list[str], centre: Floats, asked: Flags) -> tuple[Floats, Floats]:
    """Return the chances of a count above and below its expectation."""
    n, rate = stack.denominator[asked], centre[asked]
    mean = n * rate
    under, at_most = np.ceil(mean - 1e-9) - 1, np.floor(mean + 1e-9)
    proportion = np.array([kind in PROPORTIONS for kind in kinds], bool)[stack.series[asked]]
    trials = np.maximum(np.rint(n), 1).astype(int)
    p = np.clip(rate, 0, 1)

    def cdf(x: Floats) -> Floats:
        reached = np.maximum(x, 0)
        binomial = special.bdtr(np.minimum(reached, trials), trials, p)
        chance = np.where(proportion, binomial, special.pdtr(reached, mean))
        return np.where(x < 0, 0.0, chance)

    return 1 - cdf(at_most), cdf(under)
