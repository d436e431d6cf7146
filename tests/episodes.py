"""Episodes of tests, counted as the store counts them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.survival.event_counts import EventCounts, from_rows
from pipeline.analysis.survival.interval_censored import IntervalCounts


def from_episodes(
    hours: ArrayLike, reason: ArrayLike, reasons: Sequence[str], *, group: str = ""
) -> EventCounts:
    """Count episodes, one hour and one reason each."""
    return from_rows(hours, reason, np.ones(len(np.asarray(hours))), reasons, group=group)


def count_intervals(after_h: ArrayLike, before_h: ArrayLike) -> IntervalCounts:
    """Count episodes with the same interval."""
    pairs = np.column_stack([np.asarray(after_h, float), np.asarray(before_h, float)])
    distinct, n = np.unique(pairs, axis=0, return_counts=True)
    return IntervalCounts(distinct[:, 0], distinct[:, 1], n)
