"""Many series laid end to end, so that thousands of charts cost one pass of numpy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.phases import Need, PhasePlan, plan_phases
from pipeline.analysis.charts.results import Change, Counts, Flags, Floats, Ints


@dataclass(frozen=True, eq=False)
class Stack:
    """Flat arrays over all points of all series; `offset` says where each begins.

    `limit_set` numbers the limit sets across the whole stack and never goes
    down, so points of one set are adjacent.
    """

    counts: tuple[Counts, ...]
    plans: tuple[PhasePlan, ...]
    offset: Ints
    series: Ints
    numerator: Floats
    denominator: Floats
    usable: Flags
    judged: Flags
    baseline: Flags
    limit_set: Ints
    set_series: Ints
    set_has_limits: Flags
    set_is_kept: Flags
    kept: Flags
    proportion: bool

    @property
    def sets(self) -> int:
        """Number of limit sets in the stack."""
        return len(self.set_series)

    def slice_of(self, series: int) -> slice:
        """Return where one series lies in the flat arrays."""
        return slice(int(self.offset[series]), int(self.offset[series + 1]))

    def total(self, weights: Floats | None = None) -> Floats:
        """Add up the baseline points of each limit set; count them without weights."""
        picked = None if weights is None else weights[self.baseline]
        totals = np.bincount(self.limit_set[self.baseline], picked, self.sets)
        return totals.astype(float)


def stack_series(
    counts: Sequence[Counts],
    changes: Sequence[Sequence[Change]],
    *,
    need: Need,
    ones: bool,
    proportion: bool,
) -> Stack:
    """Lay the series end to end with their phases planned.

    Parameters
    ----------
    counts, changes : sequences of one length
        Each series and the logged changes that concern it.
    need : Need
        What a baseline must hold.
    ones : bool
        Whether denominators only say where a point is (g and t charts).
    proportion : bool
        Whether a baseline must hold catheters without the event, too.
    """
    plans = tuple(
        plan_phases(c, log, need=need, proportion=proportion)
        for c, log in zip(counts, changes, strict=True)
    )
    lengths = np.array([len(c.periods) for c in counts], np.int64)
    offset = np.concatenate([[0], np.cumsum(lengths)])
    usable = _join([c.usable for c in counts], bool)
    denominator = np.where(usable, _join([c.denominator for c in counts], float), np.nan)
    provisional = _join([c.provisional for c in counts], bool)
    limit_set, set_series, has_limits, is_kept = _number_sets(plans)
    in_baseline = _join([plan.baseline for plan in plans], bool)
    judged = usable & ~provisional
    return Stack(
        counts=tuple(counts),
        plans=plans,
        offset=offset,
        series=np.repeat(np.arange(len(counts)), lengths),
        numerator=np.where(usable, _join([c.numerator for c in counts], float), np.nan),
        denominator=np.where(usable, 1.0, np.nan) if ones else denominator,
        usable=usable,
        judged=judged,
        baseline=in_baseline,
        limit_set=limit_set,
        set_series=set_series,
        set_has_limits=has_limits,
        set_is_kept=is_kept,
        kept=judged & ~in_baseline & is_kept[limit_set],
        proportion=proportion,
    )


def _join(parts: list[np.ndarray], kind: type) -> np.ndarray:
    return np.concatenate(parts).astype(kind) if parts else np.zeros(0, kind)


def _number_sets(plans: Sequence[PhasePlan]) -> tuple[Ints, Ints, Flags, Flags]:
    """Return of each limit set its number, its series, and whether it has limits and is kept."""
    numbered: list[Ints] = []
    owners: list[int] = []
    ready: list[bool] = []
    kept: list[bool] = []
    for series, plan in enumerate(plans):
        labels = sorted(plan.has_limits)
        numbered.append(np.searchsorted(labels, plan.limit_set) + len(owners))
        owners += [series] * len(labels)
        ready += [plan.has_limits[label] for label in labels]
        kept += [plan.is_kept[label] for label in labels]
    return (
        _join(numbered, np.int64),
        np.asarray(owners, np.int64),
        np.asarray(ready, bool),
        np.asarray(kept, bool),
    )
