"""Seeded simulation of the delay to a signal, for rules that judge a whole series.

Each month the chart is drawn again with one more point, as a team would, and
the rules are applied to the longer series.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from pipeline.analysis.charts.automaton import CHAINED, SIGNAL, Automaton, zone_automaton
from pipeline.analysis.charts.models import ON_LINE
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
    zone: Ints

    def keep(self, these: Flags) -> _Series:
        return _Series(*(getattr(self, name)[these] for name in _NAMES))


_NAMES = ("side", "run", "longest", "crossings", "useful", "zone")


def simulate_delays(
    history: Floats,
    future: Floats,
    rules: Collection[str],
    *,
    effort: Effort = FULL,
) -> Delays:
    """Simulate the points until the first signal after the rate has changed.

    Parameters
    ----------
    history : float array, shape (m, 9)
        Band chances of the points so far, in control. Series that would already
        show a signal are left out: the change falls on a quiet chart.
    future : float array, shape (f, 9)
        Band chances after the change at recent volumes; each later point draws
        one of them at random.
    rules : collection of str
        Rules in force.
    """
    rng = np.random.default_rng(effort.seed)
    judge = _Judge.of(rules, len(history) + effort.horizon)
    state = _start(judge, history, effort.series, rng)
    steps = np.full(state.side.size, np.inf)
    waiting = np.arange(state.side.size)
    cumulative = np.cumsum(future, axis=1)
    for step in range(1, effort.horizon + 1):
        if waiting.size == 0:
            break
        row = rng.integers(len(future), size=waiting.size)
        state, fired = judge.advance(state, _draw(rng, cumulative[row]))
        fired |= judge.fires(state)
        steps[waiting[fired]] = step
        waiting, state = waiting[~fired], state.keep(~fired)
    return Delays(steps, effort.horizon)


def simulate_false_signals(
    chances: Floats, rules: Collection[str], *, effort: Effort = FULL
) -> float:
    """Return the share of in-control series that signal somewhere, looked at once, whole."""
    rng = np.random.default_rng(effort.seed)
    judge = _Judge.of(rules, len(chances))
    state = _start(judge, chances, effort.series, rng)
    return 1 - state.side.size / effort.series


def _start(judge: _Judge, history: Floats, series: int, rng: np.random.Generator) -> _Series:
    """Run the history in control and keep the series that show no signal at its end."""
    zero = np.zeros(series, np.int64)
    state = _Series(*(zero.copy() for _ in _NAMES))
    quiet = np.ones(series, bool)
    for row in np.cumsum(history, axis=1):
        state, fired = judge.advance(state, _draw(rng, np.broadcast_to(row, (series, row.size))))
        quiet &= ~fired
        state = replace(state, zone=np.where(fired, 0, state.zone))
    return state.keep(quiet & ~judge.fires(state))


def _draw(rng: np.random.Generator, cumulative: Floats) -> Ints:
    """Draw a band for each series."""
    chance = rng.random(len(cumulative))[:, None]
    return np.minimum((chance >= cumulative).sum(axis=1), cumulative.shape[1] - 1)


@dataclass(frozen=True, eq=False)
class _Judge:
    """The rules in force, as tables."""

    zones: Automaton
    run_limit: Ints
    crossings_limit: Ints

    @classmethod
    def of(cls, rules: Collection[str], longest: int) -> _Judge:
        sizes, far = range(longest + 1), np.full(longest + 1, longest + 1)
        none = np.zeros(longest + 1, np.int64)
        return cls(
            zone_automaton(tuple(rule for rule in rules if rule in CHAINED)),
            np.array([longest_run_limit(n) for n in sizes]) if "long_run" in rules else far,
            np.array([crossings_limit(n) for n in sizes]) if "few_crossings" in rules else none,
        )

    def advance(self, state: _Series, band: Ints) -> tuple[_Series, Flags]:
        """Add one point to each series; say where a limit or zone rule fires."""
        zone = self.zones.step[state.zone, band]
        side = np.sign(band - ON_LINE)
        counts, same = side != 0, side == state.side
        run = np.where(counts, np.where(same, state.run + 1, 1), state.run)
        crossed = counts & ~same & (state.side != 0)
        after = _Series(
            side=np.where(counts, side, state.side),
            run=run,
            longest=np.maximum(state.longest, run),
            crossings=state.crossings + crossed,
            useful=state.useful + counts,
            zone=np.where(zone == SIGNAL, 0, zone),
        )
        return after, zone == SIGNAL

    def fires(self, state: _Series) -> Flags:
        """Say where the rules on the whole series fire."""
        long_run = state.longest > self.run_limit[state.useful]
        return long_run | (state.crossings < self.crossings_limit[state.useful])
