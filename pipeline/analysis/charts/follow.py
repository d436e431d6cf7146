"""Many series followed by month from their kept baselines, each at the two levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.analysis.charts.chains import decision_limits
from pipeline.analysis.charts.cusum import (
    CALL,
    DOWN,
    LEAST_EVENTS,
    QUIET,
    UP,
    WATCH,
    Cusum,
    CusumSide,
    RunLengths,
    accumulate,
    evidence,
    likely_rate,
)
from pipeline.analysis.charts.phases import Need
from pipeline.analysis.charts.results import Change, Counts, Flags, Floats, Ints
from pipeline.analysis.charts.stack import Stack, stack_series


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
    stack = stack_series(counts, changes, need=need or Need(), ones=False,
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

    Of each month of the stack: `of_month` the rate expected, and whether it is `judged`:
    after the baseline (throughout where a rate was given) and not provisional; a month
    without a catheter adds nothing and ends nothing.
    """

    rate: Floats
    events: Floats
    mean: Floats
    given: Flags
    of_month: Floats
    judged: Flags

    @classmethod
    def of(cls, stack: Stack, given: Floats, *, proportion: bool) -> _Baselines:
        months, volume = np.maximum(stack.total(), 1.0), stack.total(stack.denominator)
        least = np.maximum(stack.total(stack.numerator), LEAST_EVENTS)
        most = np.maximum(volume - LEAST_EVENTS, LEAST_EVENTS) if proportion else np.inf
        events, held = np.minimum(least, most), np.maximum(volume, 1e-9)
        rate = np.where(np.isfinite(given), given, events / np.maximum(held, 2 * LEAST_EVENTS))
        is_given = np.isfinite(given)
        after = (stack.set_is_kept[stack.limit_set] & ~stack.baseline) | is_given[stack.limit_set]
        judged = after & (stack.judged | ~stack.usable)
        return cls(rate, events, rate * held / months, is_given, rate[stack.limit_set], judged)


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
    return path, limit, np.where(base.judged, state, QUIET)


def _one(
    stack: Stack, base: _Baselines, rate: Floats, ratio: float, months: Floats, *, proportion: bool
) -> tuple[Floats, Floats, Flags]:
    """Return path, limit, and where the evidence holds, against one rate for each limit set."""
    limit = _limits(base.mean * rate / base.rate, rate, ratio, months, proportion=proportion)
    times = rate / base.rate * ((1 - base.rate) / (1 - rate) if proportion else 1.0)
    each = _moved(base.of_month, times[stack.limit_set], proportion=proportion)
    steps = evidence(stack.numerator, stack.denominator, each, ratio, proportion=proportion)
    steps = np.where(stack.judged, np.nan_to_num(steps), 0.0)
    return _by_series(stack, steps, limit[stack.limit_set], base.judged)


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


def _by_series(
    stack: Stack, steps: Floats, limit: Floats, judged: Flags
) -> tuple[Floats, Floats, Flags]:
    """Accumulate flat steps series by series."""
    lengths = np.diff(stack.offset)
    there = np.arange(int(lengths.max(initial=0))) < lengths[:, None]
    wide, limits, anew = np.zeros(there.shape), np.ones(there.shape), np.zeros(there.shape, bool)
    telling = anew.copy()
    wide[there], limits[there], telling[there] = steps, limit, judged
    anew[there] = np.diff(stack.limit_set, prepend=-1) != 0
    path, is_on = accumulate(wide, limits, anew, telling)
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
    last, judged = stack.limit_set[part.stop - 1], np.flatnonzero(base.judged[part])
    periods = stack.counts[i].periods
    chance = float(base.rate[last]) if stack.proportion else 0.0
    return Cusum(periods, up, down, float(base.mean[last]), chance,
                 float(base.events[last]), runs,
                 bool(stack.set_is_kept[last] or base.given[last]),
                 periods[judged[-1]] if judged.size else "")  # fmt: skip
