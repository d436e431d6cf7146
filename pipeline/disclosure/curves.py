"""Curves that are shared go in steps of so many children that none can be told apart.

A curve read at two hours tells how many children left in between. So it may be read only
where nobody or at least the threshold left since the hours read before and after it, and
where nobody or at least the threshold is still in place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.analysis.survival.event_counts import EventCounts, Floats, Ints
from pipeline.analysis.survival.incidence import Incidence
from pipeline.analysis.survival.time_in_place import TimeInPlace
from pipeline.disclosure.policy import Policy

Bools = NDArray[np.bool_]
PATIENCE = 3  # thresholds of children for which a reason that is behind holds up the sum


@dataclass(frozen=True)
class Readable:
    """Where one group's curves may be read, just after each of its distinct hours.

    Attributes
    ----------
    hours : float array, shape (m,)
    in_place : bool array, shape (m,)
        Time in place.
    reasons : bool array, shape (m, r)
        Incidence of each reason.
    threshold : int
        Children of a step at least; 1 or less where everything may be read.
    """

    hours: Floats
    in_place: Bools
    reasons: Bools
    threshold: int

    @property
    def note(self) -> str:
        """The sentence that goes with curves drawn so; empty where nothing is withheld."""
        if self.threshold <= 1:
            return ""
        return f" Drawn in steps of at least {self.threshold} children, as long as so many remain."

    @property
    def any(self) -> Bools:
        """Where any of the curves may be read, shape (m,)."""
        found: Bools = self.in_place | self.reasons.any(axis=1)
        return found

    def at(self, hours: ArrayLike) -> tuple[Bools, Bools]:
        """Say the same of any hours, shapes (k,) and (k, r); all before the first may be."""
        row = np.searchsorted(self.hours, np.asarray(hours, float), "right")
        start = np.ones((1, self.reasons.shape[1]), bool)
        return np.append(True, self.in_place)[row], np.concatenate([start, self.reasons])[row]

    def time(self, curve: TimeInPlace) -> TimeInPlace:
        """Hold time in place level between the hours at which it may be read."""
        row = _last_read(self.in_place)[: self._end]
        starts = {"estimate": 1.0, "se": 0.0, "lower": 1.0, "upper": 1.0}
        levels: dict[str, Any] = {
            name: _held(getattr(curve, name), row, start) for name, start in starts.items()
        }
        rows = self._rows(curve, "hours", "at_risk", "removed")
        return replace(curve, **rows, **levels)

    def incidence(self, curve: Incidence) -> Incidence:
        """Hold each incidence, and what is still in place, level in the same way."""
        row = _last_read(self.reasons)[: self._end]
        levels: dict[str, Any] = {
            name: _held(getattr(curve, name), row, 0.0)
            for name in ("incidence", "se", "lower", "upper")
        }
        in_place = _held(curve.still_in_place, _last_read(self.in_place)[: self._end], 1.0)
        rows = self._rows(curve, "hours", "at_risk", "events")
        return replace(curve, **rows, **levels, still_in_place=in_place)

    def _rows(self, curve: object, *names: str) -> dict[str, Any]:
        return {name: getattr(curve, name)[: self._end] for name in names}

    @property
    def _end(self) -> int:
        """Rows up to the last hour that may be read: beyond it nothing is drawn."""
        read = np.flatnonzero(self.any)
        return int(read[-1]) + 1 if len(read) else 0


def _last_read(shown: Bools) -> Ints:
    """Row of the last hour read until each, -1 before the first; of the shape of `shown`."""
    rows = np.arange(len(shown)).reshape(-1, *[1] * (shown.ndim - 1))
    last: Ints = np.maximum.accumulate(np.where(shown, rows, -1), axis=0)
    return last


def _held(values: Floats, row: Ints, start: float) -> Floats:
    """Read values at rows; row -1 is the level before the first hour, put at the end."""
    extended = np.concatenate([values, np.full((1, *values.shape[1:]), start)])
    held: Floats = np.take_along_axis(extended, row, axis=0)
    return held


def readable(policy: Policy, counts: EventCounts, hours: ArrayLike, *, fill: bool) -> Readable:
    """Say where the curves of a group may be read.

    Parameters
    ----------
    policy : Policy
        With the threshold.
    counts : EventCounts
        Episodes of the group.
    hours : array_like, shape (k,)
        Hours to read, the first of them before others where both would tell too much.
    fill : bool
        Whether to read at as many hours between them as may be, for a curve.
    """
    removed = np.cumsum(np.column_stack([counts.events, counts.removed_at]), axis=0)
    if policy.threshold <= 1:
        everything = np.ones(removed.shape, bool)
        return Readable(counts.hours, everything[:, -1], everything[:, :-1], policy.threshold)
    left = counts.at_risk - counts.removed_at - counts.censored
    asked = np.searchsorted(counts.hours, np.asarray(hours, float), "right") - 1
    chosen = _Chosen(policy.threshold, removed, np.zeros(removed.shape, bool))
    for row in dict.fromkeys(asked[asked >= 0].tolist()):
        if not bool(policy.is_small(left[row])):
            chosen.ask(row)
    for row in np.flatnonzero(~np.asarray(policy.is_small(left))).tolist() if fill else ():
        if not chosen.shown[row].any():
            chosen.fill(row)
    return Readable(counts.hours, chosen.shown[:, -1], chosen.shown[:, :-1], policy.threshold)


@dataclass(frozen=True)
class _Chosen:
    """Removed by each hour, by reason and in all (last), and which of it is shown so far.

    At an hour the reasons add up to all. So there must be room for doubt in the reasons
    that are not shown where the sum is: no sum of few, and no single one.
    """

    threshold: int
    removed: Ints
    shown: Bools

    def ask(self, row: int) -> None:
        """Show an hour that is asked for; where needed, reasons that moved least are not."""
        gaps, few = self._gaps(row)
        hidden, of_reasons = few[:-1].copy(), gaps[:, :-1]
        others = np.argsort(of_reasons.sum(axis=0), kind="stable").tolist()
        for reason in (j for j in others if not hidden[j] and of_reasons[:, j].any()):
            if not self._tells(of_reasons[:, hidden]):
                break
            hidden[reason] = True
        if not few[-1] and not self._tells(of_reasons[:, hidden]):
            self.shown[row] = np.append(~hidden, True)

    def fill(self, row: int) -> None:
        """Show an hour between; where needed, either the sum or what moved most is not.

        Whichever moved less since it was shown is passed over, so that both curves follow.
        """
        gaps, few = self._gaps(row)
        hidden, of_reasons = few[:-1].copy(), gaps[:, :-1]
        # A reason far behind comes before the sum, from which it has to keep a distance.
        behind = int(of_reasons[0, hidden].max(initial=0))
        waits = behind >= self.threshold and gaps[0, -1] < behind + PATIENCE * self.threshold
        has_sum = not few[-1] and not waits
        if has_sum and self._tells(of_reasons[:, hidden]):
            more = hidden.copy()
            more[int(np.argmax(np.where(hidden, -1, of_reasons[0])))] = True
            moved = of_reasons[0, more & ~hidden].sum()
            has_sum = bool(gaps[0, -1] >= moved) and not self._tells(of_reasons[:, more])
            hidden = more if has_sum else hidden
        if has_sum:
            self.shown[row] = np.append(~hidden, True)
        elif hidden.any():  # with every reason shown, the sum would follow from them
            self.shown[row, :-1] = ~hidden & (of_reasons[0] > 0)

    def _gaps(self, row: int) -> tuple[Ints, Bools]:
        """Count who left since the hour shown before, and until the one after, (2, columns).

        Few are less than the threshold but none, and less than the threshold to an hour
        whose sum is shown without the reason: it could be worked out there.
        """
        before, after = _neighbours(self.shown, row)
        here, end = self.removed[row], len(self.removed)
        since = here - np.where(before < 0, 0, self._at(before))
        until = np.where(after == end, 0, self._at(after) - here)
        few = ((since > 0) & (since < self.threshold)) | ((until > 0) & (until < self.threshold))
        bound_before, bound_after = _neighbours(self.shown[:, -1:] & ~self.shown, row)
        few |= (bound_before > before) & (here - self._at(bound_before) < self.threshold)
        few |= (bound_after < after) & (self._at(bound_after) - here < self.threshold)
        return np.stack([since, until]), few

    def _at(self, rows: Ints) -> Ints:
        """Read how many were removed by an hour of each column; rows outside give anything."""
        inside = np.clip(rows, 0, len(self.removed) - 1)
        found: Ints = self.removed[inside, np.arange(self.removed.shape[1])]
        return found

    def _tells(self, hidden: Ints) -> bool:
        """Say whether the sum of what is hidden leaves too few possible numbers to each.

        As for other tables, a withheld count could be any of half the threshold.
        """
        total = hidden.sum(axis=1)
        if hidden.shape[1] == 1:
            return bool(np.any(total > 0))
        return bool(np.any((total > 0) & (total <= self.threshold // 2)))


def _neighbours(marked: Bools, row: int) -> tuple[Ints, Ints]:
    """Return the nearest marked rows before (-1: none) and after (m: none), by column."""
    rows, end = np.arange(len(marked))[:, None], len(marked)
    before = np.where(marked[:row], rows[:row], -1).max(axis=0, initial=-1)
    after = np.where(marked[row + 1 :], rows[row + 1 :], end).min(axis=0, initial=end)
    return before, after
