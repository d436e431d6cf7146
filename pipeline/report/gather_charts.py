"""The control chart of each measure: what is judged, and what of it may be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pipeline.analysis.charts import Change, ControlChart, Counts, control_chart
from pipeline.analysis.charts.rare import gaps
from pipeline.analysis.charts.results import GAPS
from pipeline.measures.catalogue import Measure
from pipeline.measures.events import event_order
from pipeline.measures.log import LoggedChange
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words.chart import BETWEEN

if TYPE_CHECKING:
    import polars as pl

# Events a month above which they are not rare: each its own point would be thousands.
MOST_EVENTS = 10  # common practice, no source


def chart_kind(measure: Measure, months: pl.DataFrame) -> str:
    """Return the card's chart; a chart of counts by month where the events are not rare."""
    kind = measure.charts[0].value
    if (
        kind not in GAPS
        or months.is_empty()
        or months["with_event"].sum() <= (MOST_EVENTS * len(months))
    ):
        return kind
    return "p" if measure.denominator_kind == "proportion" else "u"


def is_rare(measure: Measure) -> bool:
    """Whether the card asks for a chart of the gaps between events."""
    return measure.charts[0].value in GAPS


def counts_of(frame: pl.DataFrame, period: str) -> Counts:
    """Return one measure's series as a chart takes it; `period` names the column."""
    return Counts(
        periods=tuple(frame[period]),
        numerator=frame["numerator"].to_numpy().astype(float),
        denominator=frame["denominator"].to_numpy().astype(float),
        provisional=frame["provisional"].to_numpy(),
    )


def rare_counts(
    store: Store, measure: Measure, months: tuple[str, str], settings: Settings
) -> Counts:
    """Return the gap before each event, in catheter-days (t) or catheters (g)."""
    return gap_counts(event_order(store, measure, months=months, settings=settings), measure)


def gap_counts(events: pl.DataFrame, measure: Measure) -> Counts:
    """Return the gap before each event of a frame of `event_order`."""
    events = events.filter(events["numerator"] > 0)
    is_g = measure.charts[0].value == "g"
    running = events["catheters" if is_g else "catheter_days"].to_numpy()
    return Counts(
        periods=tuple(events["month"]),
        numerator=gaps(running, between=is_g),
        denominator=np.ones(len(events)),
        provisional=events["provisional"].to_numpy(),
    )


def make_chart(
    measure: Measure, counts: Counts, changes: Sequence[LoggedChange], kind: str = ""
) -> ControlChart:
    """Return a chart with the logged changes; of the kind on the card unless one is given."""
    last = counts.periods[-1] if counts.periods else ""
    is_quarterly = "Q" in last
    log = [
        Change(start, c.title, c.new_phase, c.change_id)
        for c in changes
        if (start := c.started("quarter" if is_quarterly else "month")) <= last
    ]
    kind = kind or measure.charts[0].value
    if kind in GAPS:
        return control_chart(counts, kind=kind, changes=log, unit=BETWEEN[kind])
    return control_chart(
        counts, kind=kind, changes=log, multiplier=measure.multiplier, unit=measure.unit
    )
