"""Phases, and the baseline of each: the past that its limits are kept from.

The first complete months that hold enough events set centre and limits, which are kept
from then on. They are set anew only from a logged change that asks for it, or a logged
decision, and only once the new phase has a baseline of its own.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil

import numpy as np

from pipeline.analysis.charts.results import Change, Counts, Flags, Ints


@dataclass(frozen=True)
class Need:
    """What a baseline must hold.

    Attributes
    ----------
    points : int
        Complete points.
    events : int
        Events among them (of a proportion, also catheters without); a baseline that
        holds fewer is longer.
    """

    points: int = 24
    events: int = 20

    @property
    def least(self) -> int:
        """Points that do where a phase begins or ends with a logged change, and for trial limits.

        Half: waiting for all of them after each change would leave a programme that
        changes something every second year without a verdict.
        """
        return ceil(self.points / 2)


@dataclass(frozen=True, eq=False)
class PhasePlan:
    """Which phase, limits and baseline each point belongs to.

    Attributes
    ----------
    phase : int array, shape (k,)
        Phase number from 1, as the change log cuts the series.
    limit_set : int array, shape (k,)
        Phase whose limits judge the point; lower than `phase` while limits are
        carried forward into a phase that has no baseline yet.
    baseline : bool array, shape (k,)
        Complete points that set the limits of their limit set.
    has_limits : dict
        Limit set to whether its baseline suffices for limits.
    is_kept : dict
        Limit set to whether its baseline is complete, so that its limits are kept.
    drawn : tuple of Change
        Changes that fall within the series.
    later : tuple of Change
        Changes that begin after its last point.
    """

    phase: Ints
    limit_set: Ints
    baseline: Flags
    has_limits: dict[int, bool]
    is_kept: dict[int, bool]
    drawn: tuple[Change, ...]
    later: tuple[Change, ...]

    def at(self, months: Counts, gaps: Counts) -> PhasePlan:
        """Return the plan of gaps between events, planned over the months that hold them."""
        place = {period: i for i, period in enumerate(months.periods)}
        where = np.array([place[period] for period in gaps.periods], np.int64)
        return replace(
            self, phase=self.phase[where], limit_set=self.limit_set[where],
            baseline=self.baseline[where] & gaps.complete,
        )  # fmt: skip


def plan_phases(
    counts: Counts,
    changes: Sequence[Change] = (),
    *,
    need: Need | None = None,
    proportion: bool = False,
) -> PhasePlan:
    """Cut one series into phases and choose the baseline of each.

    Parameters
    ----------
    counts : Counts
        The series; of gaps between events, the months that hold them decide.
    changes : sequence of Change
        The improvement log, as far as it concerns this series.
    need : Need, optional
        What a baseline must hold.
    proportion : bool
        A baseline must hold as many catheters without the event, too.
    """
    months = counts.months or counts
    plan = _plan(months, tuple(changes), need or Need(), proportion)
    return plan if months is counts else plan.at(months, counts)


@lru_cache(maxsize=1024)  # a chart's points and its evidence are planned alike
def _plan(months: Counts, changes: tuple[Change, ...], need: Need, proportion: bool) -> PhasePlan:
    drawn, later = _within(months, changes)
    starts = [bisect_left(months.periods, c.started) for c in drawn if c.new_phase]
    cuts = sorted({start for start in starts if start > 0})
    phase = 1 + np.searchsorted(cuts, np.arange(len(months.periods)), side="right")
    spans = [
        _baseline_of(months, np.flatnonzero(phase == k), need, proportion=proportion,
                     is_first=k == 1, is_closed=k <= len(cuts))
        for k in range(1, len(cuts) + 2)
    ]  # fmt: skip
    return _share_limits(phase.astype(np.int64), spans, need, drawn, later)


def _within(
    counts: Counts, changes: Sequence[Change]
) -> tuple[tuple[Change, ...], tuple[Change, ...]]:
    """Return the changes inside the series, and those after its end."""
    if not counts.periods:
        return (), ()
    ordered = sorted(changes, key=lambda change: change.started)
    later = (c for c in ordered if c.started > counts.periods[-1])
    inside = (c for c in ordered if counts.periods[0] <= c.started <= counts.periods[-1])
    return tuple(inside), tuple(later)


def _baseline_of(
    counts: Counts, phase: Ints, need: Need, *, proportion: bool, is_first: bool, is_closed: bool
) -> tuple[Ints, bool]:
    """Return the points of one phase's baseline, and whether it is complete.

    The first phase waits for all the points asked for, unless a change has ended it.
    """
    points = phase[counts.complete[phase]]
    x, n = counts.numerator[points].cumsum(), counts.denominator[points].cumsum()
    events = np.minimum(x, n - x) if proportion else x
    number = np.arange(1, points.size + 1)
    enough = (number >= (need.points if is_first else need.least)) & (events >= need.events)
    if enough.any():
        return points[: int(enough.argmax()) + 1], True
    holds = (number >= need.least) & (events >= need.events)
    return points, bool(is_closed and holds.any())


def _share_limits(
    phase: Ints,
    spans: Sequence[tuple[Ints, bool]],
    need: Need,
    drawn: tuple[Change, ...],
    later: tuple[Change, ...],
) -> PhasePlan:
    """Let a phase without a baseline of its own borrow the limits of the one before it."""
    owner = [0, 1]
    for k, (_, is_kept) in enumerate(spans[1:], start=2):
        owner.append(k if is_kept else owner[k - 1])
    limit_set = np.asarray(owner, np.int64)[phase]
    used = sorted(set(owner[1:]))
    baseline = np.zeros(phase.size, bool)
    for k in used:
        baseline[spans[k - 1][0]] = True
    has_limits = {k: spans[k - 1][1] or spans[k - 1][0].size >= need.least for k in used}
    return PhasePlan(
        phase, limit_set, baseline, has_limits, {k: spans[k - 1][1] for k in used}, drawn, later
    )
