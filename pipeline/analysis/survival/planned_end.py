"""Time in place against the planned end, plans of different lengths laid together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from pipeline.analysis.survival.event_counts import EventCounts, from_rows
from pipeline.analysis.survival.time_in_place import StillInPlace, TimeInPlace, time_in_place

FROM_END_HOURS = (-48.0, -24.0, -12.0, -6.0, 0.0, 6.0, 12.0, 24.0)  # read where nothing is said
ANY_REASON = "removed"


@dataclass(frozen=True)
class FromPlannedEnd:
    """One group's catheters still in place, by hours from the end that was planned.

    `clock` is a Kaplan-Meier estimate whose hour `end_h` is the planned end of every course:
    a catheter planned for less begins later on it, and nobody is out before then.
    """

    group: str
    clock: TimeInPlace
    end_h: float

    @property
    def catheters(self) -> int:
        """Catheters with a plan and a known dwell."""
        return self.clock.episodes

    def at(self, from_end: ArrayLike) -> StillInPlace:
        """Read the curve at hours from the planned end, negative before it, shape (k,)."""
        return self.clock.at(np.asarray(from_end, float) + self.end_h)


def from_planned_end(rows: pl.DataFrame) -> tuple[FromPlannedEnd, ...]:
    """Estimate each group's curve on one clock that all courses end on.

    Parameters
    ----------
    rows : DataFrame
        Columns `group`, `from_end_h` (removal, or last hour known in place, less the hour
        planned), `is_removed` and `n`.
    """
    if rows.is_empty():
        return ()
    end_h = max(-float(rows["from_end_h"].to_numpy().min()), 0.0)
    return tuple(
        FromPlannedEnd(part["group"][0], time_in_place(_counts(part, end_h)), end_h)
        for part in rows.partition_by("group", maintain_order=True)
    )


def _counts(part: pl.DataFrame, end_h: float) -> EventCounts:
    return from_rows(
        part["from_end_h"].to_numpy() + end_h,
        part["is_removed"].cast(pl.Int64).to_numpy() - 1,
        part["n"].to_numpy(),
        (ANY_REASON,),
    )
