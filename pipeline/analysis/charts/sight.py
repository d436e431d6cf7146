"""What silence means: false alarms in a year, and months until a real change would show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.chains import Month, cusum_matrix, decision_limits
from pipeline.analysis.charts.cusum import DOWN, LEAST_EVENTS, UP, Cusum, likely_rate
from pipeline.analysis.charts.false_alarms import false_alarms, rarer
from pipeline.analysis.charts.results import Floats

RATIOS = (2.0, 0.5, 1.5)
"""A doubling, a halving and a 50% rise."""

YEAR, SETTLED, BANDS = 12, 24, 80
MOST_CHANCE, MOST_STEPS = 0.98, 600
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
WEIGHTS = WEIGHTS / WEIGHTS.sum()


@dataclass(frozen=True)
class Delay:
    """Months until a change of `ratio` in the rate is watched, and called, in half of cases.

    Half, and not the mean: a baseline that came out high by chance delays some of them
    for very long. Infinite beyond 50 years, or without room for it. `within_year` is the
    chance of a watch within twelve months.
    """

    ratio: float
    watch: float
    call: float
    within_year: float


@dataclass(frozen=True)
class Sight:
    """What a chart can and cannot see, counted from a baseline just completed.

    Attributes
    ----------
    false_watch, false_call : float
        Chance of at least one within twelve months, on either side, if nothing changes.
    delays : tuple of Delay
    """

    false_watch: float
    false_call: float
    delays: tuple[Delay, ...]

    def months(self, ratio: float) -> float:
        """Return the months until a change is watched; NaN where it was not asked."""
        return next((d.watch for d in self.delays if d.ratio == ratio), float("nan"))


def sight(
    cusum: Cusum, *, ratios: Sequence[float] = RATIOS, months_per_point: float = 1.0
) -> Sight:
    """Compute what a chart can and cannot see.

    The true rate is as uncertain as the events of the baseline leave it, and every figure
    is averaged over it. Of a proportion above one half what falls short changes.

    Parameters
    ----------
    cusum : Cusum
    ratios : sequence of float
        Changes in the rate to ask about.
    months_per_point : float
        Three where a point is a quarter.
    """
    if not np.isfinite(cusum.mean) or cusum.events <= LEAST_EVENTS:
        return Sight(np.nan, np.nan, tuple(Delay(r, np.inf, np.inf, np.nan) for r in ratios))
    steps = max(1, round(YEAR / months_per_point))
    levels = [_levels(cusum, ratio) for ratio in (UP, DOWN)]
    delays = []
    for ratio in ratios:
        watch, call = levels[0 if ratio > 1 else 1]
        seen = 1 - watch.quiet(ratio, steps)
        until, called = (level.half(ratio) * months_per_point for level in (watch, call))
        delays.append(Delay(ratio, until, called, seen))
    return Sight(*false_alarms(cusum, steps), tuple(delays))


@dataclass(frozen=True, eq=False)
class _Level:
    """One side at one level: what a month is worth, its limit, and where the true odds lie."""

    month: Month
    limit: float
    truths: Floats
    start: Floats

    def _matrices(self, ratio: float) -> list[Floats]:
        chance = self.month.mean / self.month.trials if self.month.trials else 0.0
        return [cusum_matrix(self.month.masses(odds_after(ratio, chance, k)), self.limit, BANDS)
                for k in self.truths]  # fmt: skip

    def quiet(self, ratio: float, steps: int) -> float:
        """Return the chance of no alarm within some steps."""
        found = []
        for matrix in self._matrices(ratio):
            still = np.ones(BANDS)
            for _ in range(steps):
                still = matrix @ still
            found.append(self.start @ still)
        return float(WEIGHTS @ found)

    def half(self, ratio: float) -> float:
        """Return the steps within which half of the alarms have come; infinite if never."""
        matrices = np.stack(self._matrices(ratio))
        still = np.ones((len(matrices), BANDS, 1))
        for step in range(1, MOST_STEPS + 1):
            still = matrices @ still
            if WEIGHTS @ (still[:, :, 0] @ self.start) <= 0.5:
                return float(step)
        return float("inf")


def odds_after(ratio: float, chance: float, k: float = 1.0) -> float:
    """Return by what the odds of a month are multiplied where its true rate changes by a ratio.

    `chance` is that of the month, zero for a rate; `k` the true odds (or rate) before the
    change against those of the month.
    """
    if not chance:
        return k * ratio
    odds = k * chance / (1 - chance)
    after = min(odds / (1 + odds) * ratio, MOST_CHANCE)
    return after / (1 - after) * (1 - chance) / chance


def settled(month: Month, limit: float, ratio: float = 1.0) -> Floats:
    """Return where a CUSUM that has run through a quiet baseline stands, by its chances."""
    start = np.zeros(BANDS)
    start[0] = 1.0
    matrix = cusum_matrix(month.masses(ratio), limit, BANDS)
    for _ in range(SETTLED):
        start = start @ matrix
    return np.asarray(start / start.sum())


def _levels(cusum: Cusum, side: float) -> tuple[_Level, _Level]:
    """Return watch and call of one side, told by whichever of events and the rest is rarer."""
    p, mean = rarer(cusum)
    events_told = cusum.events * mean / cusum.mean
    error = np.sqrt((1 - p) / events_told)
    truths, rate = np.exp(NODES * error), np.array([p or mean])
    far = float(likely_rate(rate, np.array([events_told]), side, proportion=p > 0)[0]) \
        if cusum.runs.cautious else float(rate[0])  # fmt: skip
    shift = far / (1 - far) * (1 - p) / p if p else far / mean
    found = []
    for chance, events, months, lift in (
        (p, mean, cusum.runs.watch, 1.0),
        (far if p else 0.0, mean * far / float(rate[0]), cusum.runs.call, shift),
    ):
        month = Month.of(events, chance, side)
        limit = float(
            decision_limits(np.array([events]), np.array([chance]), side, np.array([months]))[0]
        )
        found.append(_Level(month, limit, truths / lift, settled(month, limit, 1 / lift)))
    return found[0], found[1]
