"""Phases, baselines and limits carried forward.

Centre and limits come from a baseline of complete points and are then carried
forward; they are set anew only at a logged change that asks for it, and only
once the new phase has enough complete points of its own.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.results import Change, Counts, Flags, Ints

MINIMUM_POINTS = 12
"""Complete points that limits need; under this a run chart. Common practice, no source."""


@dataclass(frozen=True, eq=False)
class PhasePlan:
    """Which phase, limits and baseline each point belongs to.

    Attributes
    ----------
    phase : int array, shape (k,)
        Phase number from 1, as the change log cuts the series.
    limit_set : int array, shape (k,)
        Phase whose limits judge the point; lower than `phase` while limits are
        carried forward into a phase that is still short.
    baseline : bool array, shape (k,)
        Complete points that set the limits of their limit set.
    has_limits : dict
        Limit set to whether its baseline suffices for limits.
    drawn : tuple of Change
        Changes that fall within the series.
    later : tuple of Change
        Changes that begin after its last point.
    """

    phase: Ints
    limit_set: Ints
    baseline: Flags
    has_limits: dict[int, bool]
    drawn: tuple[Change, ...]
    later: tuple[Change, ...]


def plan_phases(
    counts: Counts,
    changes: Sequence[Change] = (),
    baseline: tuple[str, str] | None = None,
) -> PhasePlan:
    """Cut one series into phases and choose the baseline of each.

    Parameters
    ----------
    counts : Counts
        The series.
    changes : sequence of Change
        The improvement log, as far as it concerns this series.
    baseline : pair of str, optional
        First and last period of a baseline chosen by hand. It sets the limits
        of the whole chart: changes are still drawn but start no phase.

    Raises
    ------
    ValueError
        If a chosen baseline holds no complete point of the series.
    """
    drawn, later = _within(counts, changes)
    if baseline is not None:
        return _chosen(counts, baseline, drawn, later)
    starts = [bisect_left(counts.periods, c.started) for c in drawn if c.new_phase]
    cuts = sorted({start for start in starts if start > 0})
    phase = 1 + np.searchsorted(cuts, np.arange(len(counts.periods)), side="right")
    return _share_limits(counts, phase.astype(np.int64), drawn, later)


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


def _chosen(
    counts: Counts, span: tuple[str, str], drawn: tuple[Change, ...], later: tuple[Change, ...]
) -> PhasePlan:
    first, last = span
    inside = np.array([first <= period <= last for period in counts.periods], dtype=bool)
    chosen = inside & counts.complete
    if not chosen.any():
        span_of_data = (
            f"{counts.periods[0]} to {counts.periods[-1]}" if counts.periods else "no period"
        )
        raise ValueError(
            f"the baseline {first}..{last} holds no complete point; the series covers "
            f"{span_of_data}"
        )
    ones = np.ones(len(counts.periods), np.int64)
    return PhasePlan(ones, ones.copy(), chosen, {1: True}, drawn, later)


def _share_limits(
    counts: Counts, phase: Ints, drawn: tuple[Change, ...], later: tuple[Change, ...]
) -> PhasePlan:
    """Let a short phase borrow the limits of the one before it."""
    number = int(phase.max(initial=1))
    ready = np.bincount(phase[counts.complete], minlength=number + 1) >= MINIMUM_POINTS
    if not ready[1:].any():
        ones = np.ones(len(phase), np.int64)
        return PhasePlan(phase, ones, counts.complete, {1: False}, drawn, later)
    owner = [0, 1]
    for k in range(2, number + 1):
        owner.append(k if ready[k] else owner[k - 1])
    limit_set = np.asarray(owner, np.int64)[phase]
    baseline = counts.complete & (phase == limit_set)
    has_limits = {int(k): bool(ready[k]) for k in sorted(set(owner[1:]))}
    return PhasePlan(phase, limit_set, baseline, has_limits, drawn, later)
