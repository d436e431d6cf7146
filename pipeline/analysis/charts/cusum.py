"""Evidence added up month by month that a rate has doubled, or halved, from its baseline.

A log-likelihood-ratio CUSUM for a proportion or a rate. Each month adds its evidence for
a doubling against the baseline, and apart from that for a halving; a sum that falls
below zero starts again at zero, and none rises above its limit, so that it says what
holds now. Two levels are judged, since many measures are looked at together: a watch
against the baseline's rate, and a call against the worst rate that the baseline leaves
likely, so that no baseline that came out low by chance makes a call.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from pipeline.analysis.charts.chains import decision_limits
from pipeline.analysis.charts.phases import Need
from pipeline.analysis.charts.results import Change, Counts, Flags, Floats, Ints, Signal
from pipeline.analysis.charts.stack import Stack, stack_series

UP, DOWN = 2.0, 0.5
"""The changes looked for: a doubling and a halving of the odds (or the rate)."""

LIKELY = float(special.ndtri(0.95))
"""Standard errors to the end of what a baseline leaves likely, on each side."""

LEAST_EVENTS = 0.5
"""Stands for the events of a baseline that had none: none does not prove a rate of zero."""

ENDS_AT = 0.5
"""Share of its limit under which the evidence of a watch or a call has ended."""

QUIET, WATCH, CALL = 0, 1, 2


@dataclass(frozen=True)
class RunLengths:
    """Months from one false alarm to the next, on each side, that limits are set for."""

    watch: float = 360.0
    call: float = 720.0
    cautious: bool = True
    """Whether a call allows for what the baseline leaves likely."""


@dataclass(frozen=True, eq=False)
class CusumSide:
    """One side of a CUSUM. Arrays have one entry a month.

    Attributes
    ----------
    ratio : float
        The change looked for.
    path, limit : float array, shape (k,)
        Evidence against the baseline's rate, and the limit of a watch.
    state : int array, shape (k,)
        `QUIET`, `WATCH` or `CALL`; quiet until the baseline is complete.
    """

    ratio: float
    path: Floats
    limit: Floats
    state: Ints


@dataclass(frozen=True, eq=False)
class Cusum:
    """Both sides of one measure's CUSUM.

    Attributes
    ----------
    periods : tuple of str
        Months.
    up, down : CusumSide
        For a doubling and for a halving.
    mean, chance, events : float
        In the baseline that judges the last month: events a month, the chance of one
        catheter (zero for a rate), and events. NaN where there is no month.
    runs : RunLengths
    is_judged : bool
        Whether the baseline is complete, or a rate was given in its place.
    last_judged : str
        The last month that is, empty where none is.
    """

    periods: tuple[str, ...]
    up: CusumSide
    down: CusumSide
    mean: float
    chance: float
    events: float
    runs: RunLengths
    is_judged: bool
    last_judged: str

    def signals(self, *, rare: bool) -> list[Signal]:
        """Return each spell of evidence; `rare` of a chart of gaps, whose points it cannot name.

        A call begins with the watch that led to it, and ends for itself.
        """
        found = []
        ways = ("below", "above") if rare else ("above", "below")
        for side, way in zip((self.up, self.down), ways, strict=True):
            for kind, first, last in _spells(side.state):
                points = () if rare else tuple(range(first, last + 1))
                found.append(Signal(kind, points, self.periods[first], self.periods[last], way))
        return found


def _spells(state: Ints) -> list[tuple[str, int, int]]:
    """Return watches and calls with their first and last month."""
    found: list[tuple[str, int, int]] = []
    for i in np.flatnonzero(state > QUIET).tolist():
        goes_on = bool(found) and found[-1][2] == i - 1
        if state[i] == CALL and goes_on:
            found[-1] = ("call", found[-1][1], i)
        elif state[i] == WATCH and goes_on and found[-1][0] == "watch":
            found[-1] = ("watch", found[-1][1], i)
        else:
            found.append(("call" if state[i] == CALL else "watch", i, i))
    return found


def evidence(
    events: Floats, volume: Floats, rate: Floats, ratio: float, *, proportion: bool
) -> Floats:
    r"""Return each month's log-likelihood ratio for a change of `ratio`.

    :math:`x \ln R - n \ln(1 - p + R p)` for a proportion whose odds change;
    :math:`x \ln R - (R - 1) n u` for a rate.

    References
    ----------
    Page 1954, Biometrika 41:100-115; Steiner and others 2000, Biostatistics 1:441-452
    (recalled, not retrieved).
    """
    against = np.log1p((ratio - 1) * rate) if proportion else (ratio - 1) * rate
    return np.asarray(events * np.log(ratio) - volume * against)


def likely_rate(rate: Floats, events: Floats, ratio: float, *, proportion: bool) -> Floats:
    """Return the rate farthest towards a change that a baseline of so many events leaves likely."""
    way = LIKELY if ratio > 1 else -LIKELY
    if not proportion:
        return np.asarray(rate * np.exp(way / np.sqrt(events)))
    shift = way / np.sqrt(events * (1 - rate))
    return np.asarray(special.expit(special.logit(rate) + shift))


def accumulate(steps: Floats, limit: Floats, anew: Flags) -> tuple[Floats, Flags]:
    r"""Add up evidence by month, never under zero nor over its limit, of many series at once.

    :math:`S_t = \min(h, \max(0, S_{t-1} + w_t))`.

    Parameters
    ----------
    steps, limit : float array, shape (series, months)
    anew : bool array, shape (series, months)
        Where the sum starts from zero whatever came before.

    Returns
    -------
    path : float array, shape (series, months)
    is_on : bool array, shape (series, months)
        From reaching the limit until the sum has fallen below `ENDS_AT` of it.
    """
    path, is_on = np.zeros(steps.shape), np.zeros(steps.shape, bool)
    total, on = np.zeros(len(steps)), np.zeros(len(steps), bool)
    for t in range(steps.shape[1]):
        total = np.where(anew[:, t], 0.0, total) + steps[:, t]
        total = np.minimum(np.maximum(total, 0.0), limit[:, t])
        reached = total >= limit[:, t] - 1e-12
        on = reached | (on & ~anew[:, t] & (total >= ENDS_AT * limit[:, t]))
        path[:, t], is_on[:, t] = total, on
    return path, is_on


def follow(
    counts: Sequence[Counts],
    changes: Sequence[Sequence[Change]],
    *,
    proportion: bool,
    runs: Sequence[RunLengths],
    expected: Sequence[float | None] | None = None,
    by_month: Floats | None = None,
    need: Need | None = None,
) -> list[Cusum]:
    """Follow many series by month, each from its kept baseline.

    Parameters
    ----------
    counts : sequence of Counts
        Events by month and what they are counted against.
    changes : sequence of sequence of Change
        The logged changes that concern each.
    proportion : bool
    runs : sequence of RunLengths
    expected : sequence of float or None, optional
        A rate in place of the baseline's, where a series has too few events for one;
        every month is judged by it then.
    by_month : float array, optional
        Of one series: what the case mix of each month's own children leads to expect,
        as a rate. In the baseline as many events are expected as there were.
    need : Need, optional
        What a baseline must hold.
    """
    stack = stack_series(counts, changes, None, need=need or Need(), ones=False,
                         proportion=proportion)  # fmt: skip
    given = np.array([np.nan if e is None else e for e in expected or [None] * len(counts)])
    base = _Baselines.of(stack, given[stack.set_series], proportion=proportion)
    asked = [runs[i] for i in stack.set_series.tolist()]
    if by_month is not None:
        base = replace(base, of_month=np.where(np.isfinite(by_month), by_month, base.of_month))
    sides = [_both(stack, base, ratio, asked, proportion=proportion) for ratio in (UP, DOWN)]
    return [_of_series(stack, i, base, sides, runs[i]) for i in range(len(counts))]


@dataclass(frozen=True, eq=False)
class _Baselines:
    """Of each limit set: rate, events, events a month, and whether its rate was given.

    `of_month` is the rate expected in each month of the stack.
    """

    rate: Floats
    events: Floats
    mean: Floats
    given: Flags
    of_month: Floats

    @classmethod
    def of(cls, stack: Stack, given: Floats, *, proportion: bool) -> _Baselines:
        months, volume = np.maximum(stack.total(), 1.0), stack.total(stack.denominator)
        least = np.maximum(stack.total(stack.numerator), LEAST_EVENTS)
        most = np.maximum(volume - LEAST_EVENTS, LEAST_EVENTS) if proportion else np.inf
        events, held = np.minimum(least, most), np.maximum(volume, 1e-9)
        rate = np.where(np.isfinite(given), given, events / np.maximum(held, 2 * LEAST_EVENTS))
        return cls(rate, events, rate * held / months, np.isfinite(given), rate[stack.limit_set])

    def judged(self, stack: Stack) -> Flags:
        """Return the months that are judged: after the baseline, all where a rate was given."""
        return stack.kept | (stack.judged & self.given[stack.limit_set])


def _both(
    stack: Stack, base: _Baselines, ratio: float, asked: Sequence[RunLengths], *, proportion: bool
) -> tuple[Floats, Floats, Ints]:
    """Return path, limit and state of one side at every month of the stack."""
    cautious = np.array([one.cautious for one in asked], bool) & ~base.given
    far = likely_rate(base.rate, base.events, ratio, proportion=proportion)
    watch = np.array([one.watch for one in asked], float)
    call = np.array([one.call for one in asked], float)
    path, limit, on = _one(stack, base, base.rate, ratio, watch, proportion=proportion)
    _, _, called = _one(
        stack, base, np.where(cautious, far, base.rate), ratio, call, proportion=proportion
    )
    state = np.where(called, CALL, np.where(on, WATCH, QUIET))
    return path, limit, np.where(base.judged(stack), state, QUIET)


def _one(
    stack: Stack, base: _Baselines, rate: Floats, ratio: float, months: Floats, *, proportion: bool
) -> tuple[Floats, Floats, Flags]:
    """Return path, limit, and where the evidence holds, against one rate for each limit set."""
    limit = _limits(base.mean * rate / base.rate, rate, ratio, months, proportion=proportion)
    times = rate / base.rate * ((1 - base.rate) / (1 - rate) if proportion else 1.0)
    each = _moved(base.of_month, times[stack.limit_set], proportion=proportion)
    steps = evidence(stack.numerator, stack.denominator, each, ratio, proportion=proportion)
    steps = np.where(stack.judged, np.nan_to_num(steps), 0.0)
    return _by_series(stack, steps, limit[stack.limit_set])


def _moved(each: Floats, times: Floats, *, proportion: bool) -> Floats:
    """Return each month's rate with its odds, or the rate itself, multiplied."""
    return each * times / (1 - each + each * times) if proportion else each * times


def _limits(
    mean: Floats, rate: Floats, ratio: float, months: Floats, *, proportion: bool
) -> Floats:
    """Return the limit of each set; of a proportion above one half by what falls short."""
    if not proportion:
        return decision_limits(mean, np.zeros(mean.size), ratio, months)
    high = rate > 0.5
    short = np.where(high, mean * (1 - rate) / rate, mean)
    found = np.empty(mean.size)
    for these, way in ((~high, ratio), (high, 1 / ratio)):
        rare = np.minimum(rate, 1 - rate)[these]
        found[these] = decision_limits(short[these], rare, way, months[these])
    return found


def _by_series(stack: Stack, steps: Floats, limit: Floats) -> tuple[Floats, Floats, Flags]:
    """Accumulate flat steps series by series."""
    lengths = np.diff(stack.offset)
    there = np.arange(int(lengths.max(initial=0))) < lengths[:, None]
    wide, limits, anew = np.zeros(there.shape), np.ones(there.shape), np.zeros(there.shape, bool)
    wide[there], limits[there] = steps, limit
    anew[there] = np.diff(stack.limit_set, prepend=-1) != 0
    path, is_on = accumulate(wide, limits, anew)
    return path[there], limit, is_on[there]


def _of_series(
    stack: Stack, i: int, base: _Baselines, sides: Sequence[tuple[Floats, Floats, Ints]],
    runs: RunLengths,
) -> Cusum:  # fmt: skip
    part = stack.slice_of(i)
    up, down = (
        CusumSide(ratio, path[part], limit[part], state[part])
        for ratio, (path, limit, state) in zip((UP, DOWN), sides, strict=True)
    )
    if part.stop == part.start:
        return Cusum((), up, down, np.nan, np.nan, np.nan, runs, False, "")
    last, judged = stack.limit_set[part.stop - 1], np.flatnonzero(base.judged(stack)[part])
    periods = stack.counts[i].periods
    chance = float(base.rate[last]) if stack.proportion else 0.0
    return Cusum(periods, up, down, float(base.mean[last]), chance,
                 float(base.events[last]), runs,
                 bool(stack.set_is_kept[last] or base.given[last]),
                 periods[judged[-1]] if judged.size else "")  # fmt: skip
