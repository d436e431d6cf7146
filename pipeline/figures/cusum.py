"""A CUSUM: evidence of a worsening upwards, of an improvement downwards."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    coord_cartesian,
    element_blank,
    element_text,
    geom_hline,
    geom_line,
    geom_path,
    geom_point,
    geom_segment,
    geom_text,
    ggplot,
    labs,
    scale_fill_identity,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.charts.cusum import CusumSide
from pipeline.analysis.charts.results import ControlChart
from pipeline.figures import chart_frames as frames
from pipeline.figures.chart_text import on_paper
from pipeline.figures.look import (
    CENTRE,
    CHANGE,
    INK,
    LABEL_SIZE,
    LIMIT,
    MUTED,
    PAPER,
    POINT,
    SIGNAL,
    Drawing,
    look,
)
from pipeline.words.numbers import month

APART = 4
"""Months from which two months are written without running into each other."""


def cusum_figure(
    chart: ControlChart, up: CusumSide, down: CusumSide, title: str, caption: str
) -> Drawing:
    """Draw both sides of a CUSUM on one time axis.

    Parameters
    ----------
    chart : ControlChart
        The months; provisional ones add nothing and are hollow.
    up, down : CusumSide
        Evidence for a doubling, drawn upwards, and for a halving, drawn downwards.
    title, caption : str
        The finding and the method.
    """
    timeline = frames.Timeline.over([chart])
    at, names = timeline.ticks()
    points = _points(chart, up, down, timeline)
    end = timeline.length - 0.5
    ends = pd.DataFrame(
        {"x": [end, end], "y": [up.limit[-1], -down.limit[-1]], "label": ["limit", "limit"]}
    )
    marked = points[points["signal"]]
    plot = (
        ggplot(mapping=aes("x", "y"))
        + geom_hline(yintercept=0, color=CENTRE, size=0.5)
        + geom_path(_limits(chart, up, down, timeline), aes(group="side"), color=LIMIT, size=0.35)
        + geom_line(points, aes(group="side"), color=POINT, size=0.4)
        + geom_point(points, aes(fill="inside"), color=POINT, size=1.3, stroke=0.4)
        + scale_fill_identity()
        + geom_text(ends, aes(label="label"), ha="left", va="bottom", nudge_x=0.3,
                    size=LABEL_SIZE - 1, color=MUTED)
        + scale_x_continuous(breaks=at, labels=names, expand=(0, 0))
        + scale_y_continuous(expand=(0.08, 0))
        + coord_cartesian(xlim=(-0.02 * timeline.length - 0.6, end + 0.09 * timeline.length))
        + labs(x="", y="evidence: halving below, doubling above")
        + look(axis_text_x=element_text(linespacing=1.25), axis_ticks_minor=element_blank())
    )  # fmt: skip
    if len(marked):
        plot = plot + geom_point(marked, color=SIGNAL, size=2.2)
        lift = 0.1 * float(up.limit[-1])
        for side, va, nudge in (("up", "bottom", lift), ("down", "top", -lift)):
            these = marked[(marked["side"] == side) & (marked["label"] != "")]
            if len(these):
                plot = plot + on_paper(these, va=va, nudge_y=nudge, color=INK)
    for layer in _changes(chart, up, down, timeline):
        plot = plot + layer
    return Drawing(plot, title, caption, f"{title}. {caption} {_numbers(chart, up, down)}")


def _points(
    chart: ControlChart, up: CusumSide, down: CusumSide, timeline: frames.Timeline
) -> pd.DataFrame:
    x = frames.positions(chart.periods, timeline)
    inside = np.where(chart.provisional, PAPER, POINT)
    parts = []
    for name, side, sign in (("up", up, 1.0), ("down", down, -1.0)):
        signal = np.isin(np.arange(len(chart)), side.signals)
        parts.append(
            pd.DataFrame(
                {"side": name, "x": x, "y": sign * side.path, "signal": signal,
                 "label": _months(chart, side), "inside": inside}
            )
        )  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _months(chart: ControlChart, side: CusumSide) -> list[str]:
    """Write the month of each signal, but for those hard upon one that is written."""
    labels, last = [""] * len(chart), -APART
    for i in side.signals:
        if i - last >= APART:
            labels[i], last = month(chart.periods[i]), i
    return labels


def _changes(
    chart: ControlChart, up: CusumSide, down: CusumSide, timeline: frames.Timeline
) -> list[Any]:
    """Draw logged changes as verticals, each with its title above the limits."""
    found = frames.change_frame({"": chart}, timeline)
    if found.empty:
        return []
    ceiling = float(up.limit[np.isfinite(up.limit)].max())
    floor = -float(down.limit[np.isfinite(down.limit)].max())
    found = found.assign(low=floor, y=(1.45 - 0.12 * found["row"]) * ceiling)
    line = geom_segment(found, aes(x="x", xend="x", y="low", yend="y"), color=CHANGE,
                        linetype="dashed", size=0.4)  # fmt: skip
    return [line, on_paper(found, ha="left", va="top", nudge_x=0.15, color=CHANGE)]


def _limits(
    chart: ControlChart, up: CusumSide, down: CusumSide, timeline: frames.Timeline
) -> pd.DataFrame:
    """Return both limits as steps: a new phase has limits of its own."""
    x = frames.positions(chart.periods, timeline)
    ends = np.column_stack([x - 0.5, x + 0.5]).ravel()
    sides = (("up", up.limit), ("down", -down.limit))
    steps = [pd.DataFrame({"side": s, "x": ends, "y": np.repeat(y, 2)}) for s, y in sides]
    steps = pd.concat(steps, ignore_index=True)
    return steps[np.isfinite(steps["y"])]


def _numbers(chart: ControlChart, up: CusumSide, down: CusumSide) -> str:
    if not len(chart):
        return "No month to show."
    return (
        f"CUSUM of {len(chart)} months to {month(chart.periods[-1])}: evidence for a doubling "
        f"{up.path[-1]:.2f} of a limit of {up.limit[-1]:.2f}, for a halving {down.path[-1]:.2f} of "
        f"{down.limit[-1]:.2f}."
    )
