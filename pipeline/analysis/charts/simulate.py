"""Seeded simulation of the delay to a signal, for rules without an exact chain.

Each month the chart is drawn again with one more point, as a team would, and
the rules are applied to the longer series.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, fields

import numpy as np

from pipeline.analysis.charts.automaton import CHAINED, SIGNAL, Automaton, zone_automaton
from pipeline.analysis.charts.point_models import ON_LINE
from pipeline.analysis.charts.results import Flags, Floats, Ints
from pipeline.analysis.charts.runs import crossings_limit, longest_run_limit
from pipeline.analysis.charts.sources import Drawn, Source
from pipeline.analysis.charts.zones import ZONE_RULES

SEED = 20250401
BY_VALUE = frozenset({"six_trending", "fourteen_alternating"})
"""Rules that compare one point with the next, so that its zone does not suffice."""


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
    last: Floats
    rising: Ints
    turning: Ints

    @classmethod
    def begin(cls, series: int) -> _Series:
        none = np.zeros(series, np.int64)
        return cls(none, none, none, none, none, none, np.full(series, np.nan), none, none)

    def keep(self, these: Flags) -> _Series:
        return _Series(*(getattr(self, field.name)[these] for field in fields(self)))


def simulate_delays(source: Source, rules: Collection[str], *, effort: Effort = FULL) -> Delays:
    """Simulate the points until the first signal after the rate has changed.

    Parameters
    ----------
    source : Source
        The points so far, in control, and those after the change. Series that would
        already show a signal are left out: the change falls on a quiet chart.
    rules : collection of str
        Rules in force.
    """
    rng = np.random.default_rng(effort.seed)
    judge = _Judge.of(rules, source.length + effort.horizon)
    state = _start(judge, source, effort.series, rng)
    steps = np.full(state.side.size, np.inf)
    waiting = np.arange(state.side.size)
    for step in range(1, effort.horizon + 1):
        if waiting.size == 0:
            break
        state, fired = judge.advance(state, source.after(waiting.size, rng))
        fired |= judge.fires(state)
        steps[waiting[fired]] = step
        waiting, state = waiting[~fired], state.keep(~fired)
    return Delays(steps, effort.horizon)


def simulate_false_signals(
    source: Source, rules: Collection[str], *, effort: Effort = FULL
) -> float:
    """Return the share of in-control series that signal somewhere, looked at once, whole."""
    rng = np.random.default_rng(effort.seed)
    judge = _Judge.of(rules, source.length)
    state = _start(judge, source, effort.series, rng)
    return 1 - state.side.size / effort.series


def _start(judge: _Judge, source: Source, series: int, rng: np.random.Generator) -> _Series:
    """Run the points so far in control and keep the series that show no signal at their end."""
    state, quiet = _Series.begin(series), np.ones(series, bool)
    for i in range(source.length):
        state, fired = judge.advance(state, source.before(i, series, rng))
        quiet &= ~fired
    return state.keep(quiet & ~judge.fires(state))


@dataclass(frozen=True, eq=False)
class _Judge:
    """The rules in force, as tables."""

    zones: Automaton
    run_limit: Ints
    crossings_limit: Ints
    most_rising: int
    most_turning: int
    by_value: bool

    @classmethod
    def of(cls, rules: Collection[str], longest: int) -> _Judge:
        sizes, far = range(longest + 1), np.full(longest + 1, longest + 1)
        none = np.zeros(longest + 1, np.int64)
        return cls(
            zone_automaton(tuple(rule for rule in rules if rule in CHAINED)),
            np.array([longest_run_limit(n) for n in sizes]) if "long_run" in rules else far,
            np.array([crossings_limit(n) for n in sizes]) if "few_crossings" in rules else none,
            _steps_of("six_trending") if "six_trending" in rules else longest,
            _steps_of("fourteen_alternating") if "fourteen_alternating" in rules else longest,
            not BY_VALUE.isdisjoint(rules),
        )

    def advance(self, state: _Series, drawn: Drawn) -> tuple[_Series, Flags]:
        """Add one point to each series; say where a limit or zone rule fires."""
        band, z = drawn
        zone = self.zones.step[state.zone, band]
        side = np.sign(band - ON_LINE)
        counts, same = side != 0, side == state.side
        run = np.where(counts, np.where(same, state.run + 1, 1), state.run)
        crossed = counts & ~same & (state.side != 0)
        rising, turning = _steps(state, z) if self.by_value else (state.rising, state.turning)
        after = _Series(
            side=np.where(counts, side, state.side),
            run=run,
            longest=np.maximum(state.longest, run),
            crossings=state.crossings + crossed,
            useful=state.useful + counts,
            zone=np.where(zone == SIGNAL, 0, zone),
            last=z,
            rising=rising,
            turning=turning,
        )
        shape = (np.abs(rising) >= self.most_rising) | (turning >= self.most_turning)
        return after, (zone == SIGNAL) | shape

    def fires(self, state: _Series) -> Flags:
        """Say where the rules on the whole series fire."""
        long_run = state.longest > self.run_limit[state.useful]
        return long_run | (state.crossings < self.crossings_limit[state.useful])


def _steps_of(rule: str) -> int:
    """Return how many steps from point to point a rule on the shape of a stretch takes."""
    return ZONE_RULES[rule].window - 1


def _steps(state: _Series, z: Floats) -> tuple[Ints, Ints]:
    """Return the steps in a row one way, signed, and those in a row that turn about."""
    way = np.sign(np.nan_to_num(z - state.last)).astype(np.int64)
    before = np.sign(state.rising)
    rising = np.where(way == before, state.rising + way, way)
    turning = np.where((way * before < 0), state.turning + 1, np.abs(way))
    return rising, turning
