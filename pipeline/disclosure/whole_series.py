"""Series of several groups that together make a known whole: each drawn whole, or not at all.

A chart without its small points would show the others only, and look higher than
it is; so nothing of a series is shown unless all of it may be.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.disclosure.policy import Policy

Bools = NDArray[np.bool_]


def drawn_whole(policy: Policy, cells: ArrayLike) -> Bools:
    """Say which groups' series may be drawn.

    A reader knows the whole network's count in every period, and so that of all
    groups not drawn taken together: where that would be small, the smallest group
    that could be drawn joins them.

    Parameters
    ----------
    policy : Policy
        With the threshold.
    cells : array_like, shape (groups, periods, columns)
        Every count that could be read off a point: episodes with the event, those
        without it, all of them.

    Returns
    -------
    bool array, shape (groups,)
    """
    counts = np.asarray(cells, float)
    drawn: Bools = np.asarray(~policy.is_small(counts).any(axis=(1, 2)))
    volume = counts.sum(axis=(1, 2))
    while drawn.any() and policy.is_small(counts[~drawn].sum(axis=0)).any():
        drawn[int(np.argmin(np.where(drawn, volume, np.inf)))] = False
    return drawn
