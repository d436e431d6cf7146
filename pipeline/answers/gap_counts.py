"""Waits between the events of a rare measure, for its charts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.analysis.charts.rare import gaps
from pipeline.analysis.charts.results import Counts

if TYPE_CHECKING:
    import polars as pl

GAP_COLUMNS = {"g": "catheters", "t": "catheter_days"}


def gap_counts(events: pl.DataFrame, kind: str) -> Counts:
    """Return the gap before each event of a frame of `event_order`.

    In episode order across months. The wait since the last event still runs: it is a
    provisional point.
    """
    running = events[GAP_COLUMNS[kind]].to_numpy()
    is_open = events["numerator"].to_numpy() == 0
    # The catheter at the end of the records had no event, so it belongs to the wait.
    between = gaps(running, between=kind == "g") + (is_open & (kind == "g"))
    return Counts(
        tuple(events["month"]),
        np.maximum(between, 0.0),
        np.ones(len(events)),
        events["provisional"].to_numpy() | is_open,
        bool(is_open.any()),
    )
