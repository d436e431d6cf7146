"""Hazards that depend on the hour since placement and on the hour of the clock."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

HORIZON_H = 240  # no course lasts longer
SCALED_AT_H = 72  # hazards are declared by what they do within the usual course


class HourlyHazard:
    """A hazard that is constant within each hour, for each clock hour of placement.

    Parameters
    ----------
    rate : array, shape (24, HORIZON_H)
        Hazard per hour; the row is the clock hour of placement, the column the hour since.
    """

    def __init__(self, rate: Floats) -> None:
        self._edges = np.concatenate([np.zeros((24, 1)), np.cumsum(rate, axis=1)], axis=1)
        # One rising sequence for all rows, so that one search serves every episode.
        self._step = self._edges.max() + 1.0
        self._stacked = (self._edges + self._step * np.arange(24)[:, None]).ravel()

    def cumulative(self, placed_hour: Ints, at_h: Floats) -> Floats:
        """Return the hazard accumulated from placement to `at_h` (both shape (n,))."""
        at_h = np.clip(at_h, 0.0, HORIZON_H - 1e-9)
        hour = at_h.astype(np.int64)
        low = self._edges[placed_hour, hour]
        return low + (at_h - hour) * (self._edges[placed_hour, hour + 1] - low)

    def inverse(self, placed_hour: Ints, accumulated: Floats) -> Floats:
        """Return when the hazard has accumulated so far; infinite beyond the horizon."""
        reached = accumulated < self._edges[placed_hour, -1]
        target = np.where(reached, accumulated, 0.0) + self._step * placed_hour
        right = np.searchsorted(self._stacked, target, side="right")
        low, high = self._stacked[right - 1], self._stacked[right]
        hour = (right - 1) % (HORIZON_H + 1)
        return np.where(reached, hour + (target - low) / (high - low), np.inf)


def hazard(spec: Mapping[str, Any], placed_weights: Floats) -> HourlyHazard:
    """Make the reference hazard of a scenario's table.

    Scaled so that ``per_100`` of 100 reference children have the event within 72 hours where
    nothing else ends the course, averaged over the hours of placement.

    Parameters
    ----------
    spec : mapping
        ``per_100`` and, where they are given, ``by_hour`` and ``by_clock``: pairs of a first
        hour and a relative hazard.
    placed_weights : array, shape (24,)
        Relative frequency of each clock hour of placement.
    """
    since = steps(spec.get("by_hour", [[0, 1.0]]), HORIZON_H)
    clock = steps(spec.get("by_clock", [[0, 1.0]]), 24)
    relative = since * clock[clock_hours()]
    usual = (relative[:, :SCALED_AT_H].sum(axis=1) * placed_weights).sum() / placed_weights.sum()
    return HourlyHazard(relative * -np.log1p(-spec["per_100"] / 100) / usual)


def clock_hours() -> Ints:
    """Return the clock hour of each hour since placement, shape (24, HORIZON_H)."""
    return (np.arange(24)[:, None] + np.arange(HORIZON_H)) % 24


def steps(pairs: Sequence[Sequence[float]], length: int) -> Floats:
    """Spread (first hour, value) pairs over `length` hours."""
    starts = [int(start) for start, _ in pairs]
    return np.repeat([value for _, value in pairs], np.diff([*starts, length]))
