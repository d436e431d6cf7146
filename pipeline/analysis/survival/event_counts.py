"""Episodes reduced to counts at distinct hours, the one input of the estimators.

The store makes the same counts with one `group by`; nothing here depends on the
number of episodes after that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    import polars as pl

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CENSORED = -1  # the reason index of an episode last known in place


@dataclass(frozen=True)
class EventCounts:
    """Removals by reason, and episodes last known in place, at each distinct hour.

    Attributes
    ----------
    group : str
        What the episodes have in common; empty for all of them.
    hours : float array, shape (m,)
        Distinct hours since placement, ascending.
    events : int array, shape (m, r)
        Catheters removed at each hour, by reason.
    censored : int array, shape (m,)
        Catheters last known in place at each hour.
    reasons : tuple of str, length r
        Codes of the reasons, in the order of the columns of `events`.
    """

    group: str
    hours: Floats
    events: Ints
    censored: Ints
    reasons: tuple[str, ...]

    def __post_init__(self) -> None:
        """Refuse counts that do not fit together."""
        m, r = len(self.hours), len(self.reasons)
        if self.events.shape != (m, r) or self.censored.shape != (m,):
            raise ValueError("events, censored, hours and reasons do not have matching shapes")
        if m and (not np.all(np.isfinite(self.hours)) or np.any(np.diff(self.hours) <= 0)):
            raise ValueError("hours must be finite and ascending without repeats")
        if m and self.hours[0] < 0:
            raise ValueError("an hour since placement is negative")
        if np.any(self.events < 0) or np.any(self.censored < 0):
            raise ValueError("a count is negative")

    @property
    def episodes(self) -> int:
        """Catheters counted."""
        return int(self.events.sum() + self.censored.sum())

    @property
    def removed_at(self) -> Ints:
        """Catheters removed at each hour for any reason, shape (m,)."""
        removed: Ints = self.events.sum(axis=1)
        return removed

    @property
    def removed(self) -> int:
        """Catheters removed, all hours and reasons."""
        return int(self.events.sum())

    @property
    def at_risk(self) -> Ints:
        """Catheters known in place just before each hour, shape (m,)."""
        leaving = self.removed_at + self.censored
        staying: Ints = leaving[::-1].cumsum()[::-1]
        return staying

    def at_risk_at(self, hours: ArrayLike) -> Ints:
        """Catheters known in place just before each of `hours`, any shape."""
        remaining = np.append(self.at_risk, 0)
        found: Ints = remaining[np.searchsorted(self.hours, np.asarray(hours, float), "left")]
        return found

    @property
    def last_hour(self) -> float:
        """Longest hour followed; NaN without episodes."""
        return float(self.hours[-1]) if len(self.hours) else float("nan")

    def index_of(self, reason: str) -> int:
        """Return the column of a reason.

        Raises
        ------
        KeyError
            If no column has that reason.
        """
        try:
            return self.reasons.index(reason)
        except ValueError:
            raise KeyError(reason) from None

    def upto(self, hour: float) -> EventCounts:
        """Return the same episodes, those followed beyond `hour` censored there."""
        keep = self.hours <= hour
        later = int((self.events[~keep].sum()) + self.censored[~keep].sum())
        rows = (self.hours[keep], self.events[keep], self.censored[keep])
        if later == 0:
            return EventCounts(self.group, *rows, self.reasons)
        tail = EventCounts(
            self.group,
            np.array([hour], float),
            np.zeros((1, len(self.reasons)), np.int64),
            np.array([later], np.int64),
            self.reasons,
        )
        return pool_counts([EventCounts(self.group, *rows, self.reasons), tail], group=self.group)


def from_rows(
    hours: ArrayLike, reason: ArrayLike, n: ArrayLike, reasons: Sequence[str], *, group: str = ""
) -> EventCounts:
    """Make counts from rows of (hour, reason index, number of episodes) in any order.

    Parameters
    ----------
    hours : array_like, shape (k,)
        Removal, or last hour known in place, in hours since placement.
    reason : array_like, shape (k,)
        Index into `reasons`, or `CENSORED` (-1) for a catheter not known removed.
    n : array_like, shape (k,)
        Episodes that each row stands for.
    reasons : sequence of str
        Codes of the reasons.

    Raises
    ------
    ValueError
        If the lengths differ, an hour is not finite or negative, or an index is
        outside `reasons`.
    """
    at, index, number = np.asarray(hours, float), np.asarray(reason, np.int64), np.asarray(n)
    if not at.shape == index.shape == number.shape or at.ndim != 1:
        raise ValueError("hours, reason and number of episodes differ in length")
    if np.any(index < CENSORED) or np.any(index >= len(reasons)):
        raise ValueError("a reason index is outside the list of reasons")
    distinct, row = np.unique(at, return_inverse=True)
    width = len(reasons) + 1
    flat = np.bincount(row * width + index + 1, weights=number, minlength=len(distinct) * width)
    table = np.rint(flat).astype(np.int64).reshape(len(distinct), width)
    return EventCounts(group, distinct, table[:, 1:], table[:, 0], tuple(reasons))


def from_frame(
    frame: pl.DataFrame, reasons: Sequence[str], *, groups: Sequence[str] | None = None
) -> tuple[EventCounts, ...]:
    """Make counts of each group from a frame that the store reduced.

    Parameters
    ----------
    frame : polars.DataFrame
        Columns `group`, `hours`, `reason` (null where no removal is known) and `n`;
        rows without hours are left out.
    reasons : sequence of str
        Reasons in the order wanted. Those that do not occur are left out, unless
        `groups` are given; every group lists the same.
    groups : sequence of str, optional
        Groups wanted, in their order; one that does not occur is empty.

    Raises
    ------
    ValueError
        If a reason of the frame is not listed.
    """
    known = frame.drop_nulls("hours")
    seen = set(known["reason"].drop_nulls().to_list())
    if not seen <= set(reasons):
        raise ValueError("a reason is not listed")
    kept = list(reasons) if groups else [reason for reason in reasons if reason in seen]
    names = groups or known["group"].unique(maintain_order=True).to_list()
    return tuple(_of_group(known.filter(group=name), name, kept) for name in names)


def _of_group(part: pl.DataFrame, name: str, reasons: Sequence[str]) -> EventCounts:
    place: dict[str | None, int] = {None: CENSORED} | {r: i for i, r in enumerate(reasons)}
    index = [place[reason] for reason in part["reason"]]
    hours, n = part["hours"].to_numpy(), part["n"].to_numpy()
    return from_rows(hours, index, n, reasons, group=name)


def together(counts: EventCounts, few: Sequence[str], name: str) -> EventCounts:
    """Return counts in which the reasons `few` stand together under one name, last."""
    if not few:
        return counts
    own = [i for i, reason in enumerate(counts.reasons) if reason not in few]
    joined = [i for i, reason in enumerate(counts.reasons) if reason in few]
    events = np.column_stack([counts.events[:, own], counts.events[:, joined].sum(axis=1)])
    reasons = (*(counts.reasons[i] for i in own), name)
    return EventCounts(counts.group, counts.hours, events, counts.censored, reasons)


def pool_counts(parts: Sequence[EventCounts], *, group: str = "") -> EventCounts:
    """Add groups together, hour by hour.

    Raises
    ------
    ValueError
        If there is no part, or the parts do not list the same reasons.
    """
    if not parts or any(part.reasons != parts[0].reasons for part in parts):
        raise ValueError("groups to add must list the same reasons")
    hours = np.unique(np.concatenate([part.hours for part in parts]))
    events = np.zeros((len(hours), len(parts[0].reasons)), np.int64)
    censored = np.zeros(len(hours), np.int64)
    for part in parts:
        row = np.searchsorted(hours, part.hours)
        events[row] += part.events
        censored[row] += part.censored
    return EventCounts(group, hours, events, censored, parts[0].reasons)


def sums_by(index: Ints, values: Floats, size: int) -> Floats:
    """Add `values` (shape (n,)) up by `index`, shape (size,)."""
    return np.bincount(index, values, size).astype(float, copy=False)
