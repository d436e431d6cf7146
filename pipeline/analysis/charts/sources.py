"""Where simulated points come from: their band around the centre line, and their z."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from pipeline.analysis.charts.point_models import band_chances, bands_of, draw
from pipeline.analysis.charts.results import ControlChart, Floats, Ints
from pipeline.analysis.charts.runs import sides

Drawn = tuple[Ints, Floats]
"""Of each series the band of its next point, and the point in sigma from the centre line."""


class Source(Protocol):
    """Points of many series, those so far and those after a change."""

    @property
    def length(self) -> int:
        """Points so far."""

    def before(self, i: int, series: int, rng: np.random.Generator) -> Drawn:
        """Draw point `i` of those so far for each series."""

    def after(self, series: int, rng: np.random.Generator) -> Drawn:
        """Draw a point after the change for each series."""


@dataclass(frozen=True, eq=False)
class BandSource:
    """Points known by their bands alone, for rules that ask for no more; z is zero.

    Attributes
    ----------
    history : float array, shape (m, 9)
        Chances of the bands at each point so far, in control.
    future : float array, shape (f, 9)
        Chances after the change at recent volumes; each later point draws one of
        them at random.
    """

    history: Floats
    future: Floats

    @property
    def length(self) -> int:
        """Points so far."""
        return len(self.history)

    def before(self, i: int, series: int, rng: np.random.Generator) -> Drawn:
        """Draw point `i` of those so far for each series."""
        row = np.cumsum(self.history[i])
        return _banded(rng, np.broadcast_to(row, (series, row.size)))

    def after(self, series: int, rng: np.random.Generator) -> Drawn:
        """Draw a point after the change for each series."""
        row = rng.integers(len(self.future), size=series)
        return _banded(rng, self._cumulative[row])

    @cached_property
    def _cumulative(self) -> Floats:
        return np.cumsum(self.future, axis=1)


def _banded(rng: np.random.Generator, cumulative: Floats) -> Drawn:
    chance = rng.random(len(cumulative))[:, None]
    band = np.minimum((chance >= cumulative).sum(axis=1), cumulative.shape[1] - 1)
    return band, np.zeros(len(cumulative))


@dataclass(frozen=True, eq=False)
class ValueSource:
    """Points with their values, for rules that compare one point with the next.

    Attributes
    ----------
    chart : ControlChart
        With a sigma at each point.
    points, recent : int arrays
        Points so far, and those whose volumes stand for the volumes to come.
    ratio : float
        Change in the rate.
    """

    chart: ControlChart
    points: Ints
    recent: Ints
    ratio: float

    @property
    def length(self) -> int:
        """Points so far."""
        return len(self.points)

    def before(self, i: int, series: int, rng: np.random.Generator) -> Drawn:
        """Draw point `i` of those so far for each series."""
        return self._drawn(np.full(series, self.points[i]), 1.0, rng)

    def after(self, series: int, rng: np.random.Generator) -> Drawn:
        """Draw a point after the change for each series."""
        return self._drawn(
            self.recent[rng.integers(len(self.recent), size=series)], self.ratio, rng
        )

    def _drawn(self, points: Ints, ratio: float, rng: np.random.Generator) -> Drawn:
        value = draw(self.chart, points, ratio, rng)
        centre = self.chart.centre[points]
        z = (value - centre) / self.chart.sigma[points]
        return bands_of(self.chart, points, value), np.where(sides(value, centre) == 0, 0.0, z)


def source_of(
    chart: ControlChart, points: Ints, recent: Ints, ratio: float, *, by_value: bool
) -> Source:
    """Return the points of a chart; `by_value` where a rule compares values."""
    if by_value:
        return ValueSource(chart, points, recent, ratio)
    return BandSource(band_chances(chart, points), band_chances(chart, recent, ratio))
