"""Seeded simulation of the delay to a signal by limits and runs.

Each month the chart is drawn again with one more point, as a team would, and
the rules are applied to the longer series.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from pipeline.analysis.charts.point_models import BANDS, ON_LINE
from pipeline.analysis.charts.results import Flags, Floats, Ints
from pipeline.analysis.charts.runs import crossings_limit, longest_run_limit

SEED = 20250401


@dataclass(frozen=True)
class Effort:
    """How much is simulated; the standard error is reported beside each figure.

    `horizon` is the number of points after which a series without a signal is
    given up.
    """

    series: int = 4000
    horizon: int = 600
    seed: int = SEED


FULL = Effort()


@dataclass(frozen=True, eq=False)
class Delays:
    """Points until the first signal in each simulated series; infinity where none came."""

    steps: Floats
    horizon: int

    @property
    def mean(self) -> float:
        """Expected points, infinite if no signal came in the second half of the horizon.

        Series without a signal at the horizon go on at the rate of signals in
        its second half.
        """
        lost, late = np.isinf(self.steps), np.maximum(self.steps - self.horizon / 2, 0)
        signals = np.sum((late > 0) & ~lost)
        if self.steps.size == 0 or (lost.any() and signals == 0):
            return float("inf")
        waited = np.minimum(late, self.horizon / 2).sum()
        onward = waited / signals if lost.any() else 0.0
        return float(np.minimum(self.steps, self.horizon).mean() + lost.mean() * onward)

    @property
    def standard_error(self) -> float:
        """Monte Carlo standard error of the mean."""
        if self.steps.size == 0:
            return float("nan")
        return float(np.minimum(self.steps, self.horizon).std() / np.sqrt(self.steps.size))

    def within(self, steps: int) -> float:
        """Return the share of series that signal within so many points."""
        return float(np.mean(self.steps <= steps)) if self.steps.size else float("nan")


@dataclass(frozen=True, eq=False)
class _Series:
    """Where each simulated series stands: one entry a series."""

    side: Ints
    run: Ints
    longest: Ints
    crossings: Ints
    useful: Ints

    @classmethod
    def begin(cls, series: int) -> _Series:
        none = np.zeros(series, np.int64)
        return cls(none, none, none, none, none)

    def keep(self, these: Flags) -> _Series:
        return _Series(*(getattr(self, field.name)[these] for field in fields(self)))

    def after(self, band: Ints) -> _Series:
        """Add a point to each series, given by its band."""
        side = np.sign(band - ON_LINE)
        counts, same = side != 0, side == self.side
        run = np.where(counts, np.where(same, self.run + 1, 1), self.run)
        return _Series(
            side=np.where(counts, side, self.side),
            run=run,
            longest=np.maximum(self.longest, run),
            crossings=self.crossings + (counts & ~same & (self.side != 0)),
            useful=self.useful + counts,
        )


def simulate_delays(history: Floats, future: Floats, *, effort: Effort = FULL) -> Delays:
    """Simulate the points until the first signal after the rate has changed.

    Series that would already show a signal are left out: the change falls on a quiet
    chart.

    Parameters
    ----------
    history : float array, shape (m, 5)
        Chances of the bands at each point so far, in control.
    future : float array, shape (f, 5)
        Chances after the change at recent volumes; each later point draws one of
        them at random.
    """
    rng = np.random.default_rng(effort.seed)
    limits = _RunLimits.up_to(len(history) + effort.horizon)
    state = _start(history, limits, effort.series, rng)
    cumulative = np.cumsum(future, axis=1)
    steps = np.full(state.side.size, np.inf)
    waiting = np.arange(state.side.size)
    for step in range(1, effort.horizon + 1):
        if waiting.size == 0:
            break
        band = _drawn(rng, cumulative[rng.integers(len(cumulative), size=waiting.size)])
        state = state.after(band)
        fired = _is_out(band) | limits.passed(state)
        steps[waiting[fired]] = step
        waiting, state = waiting[~fired], state.keep(~fired)
    return Delays(steps, effort.horizon)


def _start(history: Floats, limits: _RunLimits, series: int, rng: np.random.Generator) -> _Series:
    """Run the points so far in control and keep the series that show no signal at their end."""
    state, quiet = _Series.begin(series), np.ones(series, bool)
    for row in np.cumsum(history, axis=1):
        band = _drawn(rng, np.broadcast_to(row, (series, row.size)))
        state = state.after(band)
        quiet &= ~_is_out(band)
    return state.keep(quiet & ~limits.passed(state))


def _drawn(rng: np.random.Generator, cumulative: Floats) -> Ints:
    """Draw the band of one point of each series from its cumulative chances."""
    chance = rng.random(len(cumulative))[:, None]
    return np.minimum((chance >= cumulative).sum(axis=1), cumulative.shape[1] - 1)


def _is_out(band: Ints) -> Flags:
    return (band == 0) | (band == len(BANDS) - 1)


@dataclass(frozen=True, eq=False)
class _RunLimits:
    """Limits of the run rules, by the number of useful points."""

    run: Ints
    crossings: Ints

    @classmethod
    def up_to(cls, longest: int) -> _RunLimits:
        sizes = range(longest + 1)
        return cls(
            np.array([longest_run_limit(n) for n in sizes]),
            np.array([crossings_limit(n) for n in sizes]),
        )

    def passed(self, state: _Series) -> Flags:
        """Say where the rules on the whole series fire."""
        long_run = state.longest > self.run[state.useful]
        return long_run | (state.crossings < self.crossings[state.useful])
