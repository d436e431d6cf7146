"""Events that come back while a catheter is in place, such as calls: their mean number by hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.survival.curve_limits import Z
from pipeline.analysis.survival.event_counts import Floats, Ints, sums_by


@dataclass(frozen=True)
class RecurrentEvents:
    """Episodes followed from placement, and what happened while they were.

    Attributes
    ----------
    until_h : float array, shape (n,)
        Hour to which each episode was followed.
    child : int array, shape (n,)
        Number of its child.
    of : int array, shape (c,)
        Index of the episode that each event happened to.
    at_h : float array, shape (c,)
        Hour of each event, no later than its episode was followed.
    """

    until_h: Floats
    child: Ints
    of: Ints
    at_h: Floats


@dataclass(frozen=True)
class MeanCumulative:
    """Mean number of events by each hour, shape (k,), with 95% limits.

    `n` are the episodes still followed at the hour; NaN where there are none.
    """

    hours: Floats
    n: Ints
    mean: Floats
    se: Floats
    lower: Floats
    upper: Floats


def mean_cumulative(events: RecurrentEvents, hours: ArrayLike) -> MeanCumulative:
    r"""Estimate how many events an episode has had by each of some hours.

    Events over the episodes followed are added up, hour by hour. It is the mean for an
    episode that stays in place so long. The variance is robust: an event may make another
    likelier, and a child's episodes are taken together. Limits are on the log scale.

    Parameters
    ----------
    events : RecurrentEvents
    hours : array_like, shape (k,)

    References
    ----------
    Nelson 1988, J Qual Technol 20:24-35; Lawless and Nadeau 1995, Technometrics
    37:158-168 (variance; both recalled, not retrieved); figures of R's survfit in
    tests/reference.
    """
    asked = np.atleast_1d(np.asarray(hours, float))
    followed = np.sort(events.until_h)
    at, number = np.unique(events.at_h, return_counts=True)
    risk = len(followed) - np.searchsorted(followed, at, "left")
    curve, pulled = (np.concatenate([[0.0], np.cumsum(number / risk**i)]) for i in (1, 2))
    n = len(followed) - np.searchsorted(followed, asked, "left")
    mean = curve[np.searchsorted(at, asked, "right")]
    children = int(events.child.max(initial=-1)) + 1
    one = 1 / risk[np.searchsorted(at, events.at_h)]

    def se(hour: float) -> float:
        seen = events.at_h <= hour
        expected = pulled[np.searchsorted(at, np.minimum(events.until_h, hour), "right")]
        own = sums_by(events.child[events.of[seen]], one[seen], children)
        return float(np.linalg.norm(own - sums_by(events.child, expected, children)))

    spread = np.array([se(hour) for hour in asked.tolist()])
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.exp(Z * spread / mean)
    told = np.where(n > 0, 1.0, np.nan)
    limits = (np.where(mean > 0, mean / factor, np.nan), np.where(mean > 0, mean * factor, np.nan))
    lower, upper = (told * limit for limit in limits)
    return MeanCumulative(asked, n, told * mean, told * spread, lower, upper)


def of_episodes(events: RecurrentEvents, which: Sequence[int] | Ints) -> RecurrentEvents:
    """Return some episodes, in the order of `which`, with their events."""
    chosen = np.asarray(which, np.int64)
    place = np.full(len(events.until_h), -1)
    place[chosen] = np.arange(len(chosen))
    kept = place[events.of] >= 0
    _, child = np.unique(events.child[chosen], return_inverse=True)
    return RecurrentEvents(events.until_h[chosen], child, place[events.of[kept]], events.at_h[kept])
