"""A CUSUM: evidence of a worsening upwards, of an improvement downwards."""

from __future__ import annotations

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
    geom_text,
    ggplot,
    labs,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.charts.cusum import CusumSide
from pipeline.analysis.charts.results import ControlChart, spoken
from pipeline.figures import chart_frames as frames
from pipeline.figures.look import (
    CENTRE,
    INK,
    LABEL_SIZE,
    LIMIT,
    MUTED,
    POINT,
    SIGNAL,
    Drawing,
    look,
)


def cusum_figure(
    chart: ControlChart, up: CusumSide, down: CusumSide, title: str, caption: str
) -> Drawing:
    """Draw both sides of a CUSUM on one time axis.

    Parameters
    ----------
    chart : ControlChart
        The months; suppressed ones are left out.
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
        + geom_point(points, color=POINT, size=1.3)
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
        lift = 0.05 * float(up.limit[-1])
        plot = plot + geom_text(marked, aes(label="label"), va="bottom", nudge_y=lift,
                                size=LABEL_SIZE - 1, color=INK)  # fmt: skip
    return Drawing(plot, title, caption, f"{title}. {caption} {_numbers(chart, up, down)}")


def _points(
    chart: ControlChart, up: CusumSide, down: CusumSide, timeline: frames.Timeline
) -> pd.DataFrame:
    x, shown = frames.positions(chart.periods, timeline), ~chart.suppressed
    parts = []
    for name, side, sign in (("up", up, 1.0), ("down", down, -1.0)):
        signal = np.isin(np.arange(len(chart)), side.signals)
        parts.append(
            pd.DataFrame(
                {"side": name, "x": x, "y": sign * side.path, "signal": signal,
                 "label": [spoken(p) for p in chart.periods]}
            )[shown]
        )  # fmt: skip
    return pd.concat(parts, ignore_index=True)


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
        f"CUSUM of {len(chart)} months to {spoken(chart.periods[-1])}: evidence for a doubling "
        f"{up.path[-1]:.2f} of a limit of {up.limit[-1]:.2f}, for a halving {down.path[-1]:.2f} of "
        f"{down.limit[-1]:.2f}."
    )
