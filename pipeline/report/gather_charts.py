"""The control chart of each measure: what is judged, and what of it may be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.charts import Change, ControlChart, Counts, control_chart
from pipeline.analysis.charts.rare import gaps
from pipeline.measures.catalogue import Measure
from pipeline.measures.events import event_order
from pipeline.measures.log import LoggedChange
from pipeline.report.verdicts import told_signals
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words.chart import BETWEEN, GAPS

if TYPE_CHECKING:
    import polars as pl

Bools = NDArray[np.bool_]
# Where more of the months than this may not be shown, quarters are drawn instead.
MOST_WITHHELD = 1 / 3
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
    card = measure.charts[0].value
    kind = kind or card
    if kind in GAPS:
        return control_chart(counts, kind=kind, changes=log, unit=BETWEEN[kind])
    chart = control_chart(
        counts, kind=kind, changes=log, multiplier=measure.multiplier, unit=measure.unit
    )
    if card not in GAPS:
        return chart
    why = f"not the {card} chart of the measure's card, since the events are not rare"
    return replace(chart, reason=chart.reason.replace("as the measure's card says", why))


def drawable(
    chart: ControlChart, withheld: Bools, quarterly: ControlChart, withheld_quarters: Bools
) -> ControlChart | None:
    """Return the chart as it may be drawn, None where nothing of it may.

    Parameters
    ----------
    chart, quarterly : ControlChart
        By month, and by quarter.
    withheld, withheld_quarters : bool array
        Points that may not be shown. In a chart of rare events a point is one
        child, so such a chart is drawn whole or not at all.
    """
    if not withheld.any():
        return chart
    if chart.is_of_gaps:
        return None
    if withheld.mean() <= MOST_WITHHELD:
        return suppress(chart, withheld)
    if withheld_quarters.mean() <= MOST_WITHHELD:
        return suppress(quarterly, withheld_quarters)
    return None


def suppress(chart: ControlChart, withheld: Bools) -> ControlChart:
    """Return a chart without the points that may not be shown, nor any signal that names one."""
    return replace(chart, suppressed=withheld, signals=told_signals(chart, withheld))
