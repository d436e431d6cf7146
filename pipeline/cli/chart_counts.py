"""Counts as a chart takes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.analysis.charts import Counts
from pipeline.analysis.charts.rare import gaps

if TYPE_CHECKING:
    import polars as pl


def period_counts(part: pl.DataFrame, period: str) -> Counts:
    """Return counts by month or quarter."""
    return Counts(
        tuple(part[period]),
        part["numerator"].to_numpy().astype(float),
        part["denominator"].to_numpy().astype(float),
        part["provisional"].to_numpy(),
    )


def gap_counts(events: pl.DataFrame, kind: str) -> Counts:
    """Return the gap before each event, in episode order across months.

    The wait since the last event is still running: it is a provisional point.
    """
    running = events["catheters" if kind == "g" else "catheter_days"].to_numpy()
    is_open = events["numerator"].to_numpy() == 0
    # The catheter at the end of the records had no event, so it belongs to the wait.
    between = gaps(running, between=kind == "g") + (is_open & (kind == "g"))
    return Counts(
        tuple(events["month"]),
        np.maximum(between, 0.0),
        np.ones(len(events)),
        events["provisional"].to_numpy() | is_open,
    )
