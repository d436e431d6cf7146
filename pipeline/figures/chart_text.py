"""What is written into a control chart: months of signals, changes, centre lines, limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
from plotnine import aes, geom_label, geom_rect, geom_segment, geom_text

from pipeline.analysis.charts.results import ControlChart
from pipeline.figures import chart_axis as axis
from pipeline.figures import chart_frames as frames
from pipeline.figures.look import CHANGE, GRID, INK, LABEL_SIZE, MUTED, PAPER

HEADROOM = 0.28
"""Share of the height kept free above the points for the labels of changes."""


def panelled(frame: pd.DataFrame, charts: Mapping[str, ControlChart]) -> pd.DataFrame:
    """Keep the panels in the order in which they were given."""
    return frame.assign(panel=pd.Categorical(frame["panel"], categories=list(charts)))


def month_layers(points: pd.DataFrame) -> list[Any]:
    """Write the month of each signal, above its point or below."""
    labelled, layers = points[points["label"] != ""], list[Any]()
    for side, va in ((1.0, "bottom"), (-1.0, "top")):
        these = labelled[labelled["nudge"] == side]
        if len(these):
            nudge = 0.035 * side * float(points["y"].abs().max() or 1.0)
            placed = these.assign(y=these["label_y"])
            layers.append(on_paper(placed, va=va, nudge_y=nudge, color=INK))
    return layers


def on_paper(frame: pd.DataFrame, **where: Any) -> geom_label:
    """Write small text on a patch of paper, so that lines do not run through it."""
    return geom_label(
        frame, aes(label="label"), fill=PAPER, label_size=0, label_padding=0.1,
        size=LABEL_SIZE - 1, **where,
    )  # fmt: skip


def baseline_layers(
    charts: Mapping[str, ControlChart], timeline: frames.Timeline, *, small: bool
) -> list[Any]:
    """Shade the months that set centre and limits; a large chart names them."""
    spans = frames.baseline_frame(charts, timeline)
    if spans.empty:
        return []
    tops = {panel: axis.top(chart) for panel, chart in charts.items()}
    lows = {panel: axis.bottom(chart) for panel, chart in charts.items()}
    spans = spans.assign(y=[tops[p] for p in spans["panel"]], low=[lows[p] for p in spans["panel"]])
    spans = panelled(spans, charts)
    shade = geom_rect(
        spans, aes(xmin="x", xmax="xend", ymin="low", ymax="y"), inherit_aes=False, fill=GRID,
        alpha=0.5,
    )  # fmt: skip
    if small:
        return [shade]
    named = spans.assign(y=spans["low"])
    name = geom_text(named, aes(label="label"), ha="left", va="bottom", nudge_x=0.3,
                     size=LABEL_SIZE - 1, color=MUTED)  # fmt: skip
    return [shade, name]


def change_layers(
    charts: Mapping[str, ControlChart], timeline: frames.Timeline, *, small: bool
) -> list[Any]:
    """Draw each logged change as a vertical with its title at the top; small ones without."""
    changes = frames.change_frame(charts, timeline)
    if changes.empty:
        return []
    room = 0.0 if small else HEADROOM
    heights = {
        p: (axis.bottom(c), axis.top(c) + room * (axis.top(c) - axis.bottom(c)))
        for p, c in charts.items()
    }
    changes["low"], changes["top"] = zip(*(heights[p] for p in changes["panel"]), strict=True)
    changes["y"] = changes["top"] - 0.07 * changes["row"] * (changes["top"] - changes["low"])
    changes = panelled(changes, charts)
    line = geom_segment(
        changes, aes(x="x", xend="x", y="low", yend="top"), color=CHANGE, linetype="dashed",
        size=0.4,
    )  # fmt: skip
    if small:
        return [line]
    return [line, on_paper(changes, ha="left", va="top", nudge_x=0.15, color=CHANGE)]


def line_text(
    charts: Mapping[str, ControlChart], timeline: frames.Timeline, *, small: bool
) -> list[Any]:
    """Write the value of each centre line where it ends, and name the limits in force."""
    labels = panelled(frames.centre_labels(charts, timeline), charts)
    ends, inner = labels[labels["is_end"]], labels[~labels["is_end"]]
    size = LABEL_SIZE - (1 if small else 0)
    layers: list[Any] = []
    if len(ends):
        place = {"ha": "left", "nudge_x": 0.02 * timeline.length}
        layers.append(geom_text(ends, aes(label="label"), size=size, color=INK, **place))
    if small:
        return layers
    if len(inner):
        lift = 0.02 * max(axis.top(chart) for chart in charts.values())
        layers.append(on_paper(inner, ha="right", va="bottom", nudge_y=lift, color=INK))
    limits = panelled(frames.limit_labels(charts, timeline), charts)
    if len(limits):
        nudge = 0.02 * timeline.length
        layers.append(
            geom_text(limits, aes(label="label"), ha="left", nudge_x=nudge, size=LABEL_SIZE - 1,
                      color=MUTED)
        )  # fmt: skip
    return layers
