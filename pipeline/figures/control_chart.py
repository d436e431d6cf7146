"""Control charts: one large, or small multiples of many, from results that are ready to draw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil
from textwrap import fill
from typing import Any

import pandas as pd
from plotnine import (
    aes,
    coord_cartesian,
    element_blank,
    element_text,
    facet_wrap,
    geom_blank,
    geom_label,
    geom_line,
    geom_path,
    geom_point,
    geom_segment,
    geom_text,
    ggplot,
    labs,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.charts.results import ControlChart
from pipeline.analysis.charts.words import description, headline, method, unit_of
from pipeline.figures import chart_axis as axis
from pipeline.figures import chart_frames as frames
from pipeline.figures.look import (
    CENTRE,
    CHANGE,
    CHART_CM,
    INK,
    LABEL_SIZE,
    LIMIT,
    MUTED,
    PAPER,
    POINT,
    SIGNAL,
    WIDE_CM,
    Drawing,
    look,
)

SMALL_COLUMNS = 3
PANEL_CM = (5.2, 3.9)
LONGEST_PANEL = 26
HEADROOM = 0.28
"""Share of the height kept free above the points for the labels of changes."""


def control_chart_figure(
    chart: ControlChart,
    subject: str,
    *,
    title: str | None = None,
    width_cm: float = CHART_CM[0],
    height_cm: float = CHART_CM[1],
) -> Drawing:
    """Draw one control chart.

    Parameters
    ----------
    chart : ControlChart
        Ready to draw; suppressed points are left out and the caption says so.
    subject : str
        What is charted, such as the measure's title.
    title : str, optional
        The finding; made from the chart where none is given.
    width_cm, height_cm : float
        Size in centimetres.
    """
    plot = _layers({"": chart}, unit_of(chart), small=False)
    return Drawing(
        plot=plot,
        title=title or headline(chart, subject),
        caption=method(chart),
        alt=description(chart, subject),
        width_cm=width_cm,
        height_cm=height_cm,
    )


def small_multiples(
    charts: Mapping[str, ControlChart],
    subject: str,
    *,
    title: str | None = None,
    common_axes: bool = True,
    columns: int = SMALL_COLUMNS,
) -> Drawing:
    """Draw many control charts on one page, a panel each.

    Parameters
    ----------
    charts : mapping of str to ControlChart
        By what each panel is headed with; in this order.
    subject : str
        What they have in common: a measure over sites, or a site's measures.
    title : str, optional
        The finding; made from the charts where none is given.
    common_axes : bool
        One scale for all (one measure over sites); otherwise each its own.
    columns : int
        Panels side by side.
    """
    columns = max(1, min(columns, len(charts)))
    rows = ceil(max(len(charts), 1) / columns)
    label = unit_of(next(iter(charts.values()))) if common_axes and charts else ""
    panels = {fill(panel, LONGEST_PANEL): chart for panel, chart in charts.items()}
    plot = _layers(panels, label, small=True) + facet_wrap(
        "panel", ncol=columns, scales="fixed" if common_axes else "free_y"
    )
    signalling = [panel for panel, chart in charts.items() if chart.signals]
    return Drawing(
        plot=plot,
        title=title or _many_headline(subject, signalling, len(charts)),
        caption=_many_method(charts, common_axes=common_axes),
        alt=" ".join(description(chart, panel) for panel, chart in charts.items()),
        width_cm=max(WIDE_CM[0], PANEL_CM[0] * columns),
        height_cm=1.6 + PANEL_CM[1] * rows,
    )


def _many_headline(subject: str, signalling: list[str], number: int) -> str:
    if not signalling:
        return f"{subject}: no signal in {number} chart{'' if number == 1 else 's'}"
    named = ", ".join(signalling) if len(signalling) <= 4 else f"{len(signalling)} of {number}"
    return f"{subject}: signals in {named}"


def _many_method(charts: Mapping[str, ControlChart], *, common_axes: bool) -> str:
    kinds = sorted({chart.kind for chart in charts.values()})
    axes = "one scale for all" if common_axes else "each panel its own scale"
    counts = ", ".join(f"{sum(c.kind == k for c in charts.values())} {k}" for k in kinds).replace(
        "'", "′"
    )
    return f"Control charts ({counts}); {axes}; dark points are signals, hollow ones provisional."


def _layers(charts: Mapping[str, ControlChart], y_label: str, *, small: bool) -> ggplot:
    """Lay limits under the centre line, the line under the points, labels on top."""
    timeline = frames.Timeline.over(charts.values())
    at, names = timeline.years() if small else timeline.ticks()
    end = timeline.length - 0.5
    room = max(1.0, (0.2 if small else 0.09) * timeline.length)
    plot = (
        ggplot(mapping=aes("x", "y"))
        + scale_x_continuous(breaks=at, labels=names, expand=(0, 0))
        + scale_y_continuous(
            expand=(0.02, 0, 0.03, 0),
            labels=_plain,
            breaks=axis.Breaks(axis.whole(charts.values())),
        )
        + coord_cartesian(xlim=(-0.02 * timeline.length - 0.6, end + room))
        + labs(x="", y=y_label)
        + look(
            axis_text_x=element_text(linespacing=1.25),
            axis_ticks_minor=element_blank(),
            panel_spacing_y=0.03,
        )
    )
    for layer in (
        *_limit_layers(charts, timeline),
        *_change_layers(charts, timeline, small=small),
        *_line_text(charts, timeline, small=small),
        *_point_layers(charts, timeline, small=small),
        *_floor(charts),
    ):
        plot += layer
    return plot


def _plain(breaks: Sequence[Any]) -> list[str]:
    """Write axis numbers without needless decimals."""
    return [f"{value:,.10g}" for value in breaks]


def _panelled(frame: pd.DataFrame, charts: Mapping[str, ControlChart]) -> pd.DataFrame:
    """Keep the panels in the order in which they were given."""
    return frame.assign(panel=pd.Categorical(frame["panel"], categories=list(charts)))


def _limit_layers(charts: Mapping[str, ControlChart], timeline: frames.Timeline) -> list[Any]:
    layers: list[Any] = []
    for lines, colour, size in (
        (("lower", "upper"), LIMIT, 0.35),
        (("centre",), CENTRE, 0.55),
    ):
        frame = _panelled(frames.step_frame(charts, timeline, *lines), charts)
        if len(frame):
            layers.append(geom_path(frame, aes(group="piece"), color=colour, size=size))
    return layers


def _point_layers(
    charts: Mapping[str, ControlChart], timeline: frames.Timeline, *, small: bool
) -> list[Any]:
    points = _panelled(frames.point_frame(charts, timeline), charts)
    if points.empty:
        return []
    size = 1.0 if small else 1.7
    layers = [] if small else _month_layers(points)
    joined = points[points["stretch"].duplicated(keep=False)]
    if len(joined):
        layers.append(geom_line(joined, aes(group="stretch"), color=POINT, size=0.3, alpha=0.7))
    for state, inside, edge, scale in (
        ("in control", POINT, POINT, 1.0),
        ("provisional", PAPER, MUTED, 1.0),
        ("signal", SIGNAL, SIGNAL, 1.25),
    ):
        these = points[points["state"] == state]
        if len(these):
            layers.append(geom_point(these, fill=inside, color=edge, size=size * scale, stroke=0.5))
    return layers


def _month_layers(points: pd.DataFrame) -> list[Any]:
    """Write the month of each signal, above its point or below."""
    labelled, layers = points[points["label"] != ""], list[Any]()
    for side, va in ((1.0, "bottom"), (-1.0, "top")):
        these = labelled[labelled["nudge"] == side]
        if len(these):
            nudge = 0.035 * side * float(points["y"].abs().max() or 1.0)
            layers.append(_on_paper(these, va=va, nudge_y=nudge, color=INK))
    return layers


def _on_paper(frame: pd.DataFrame, **where: Any) -> geom_label:
    """Write small text on a patch of paper, so that lines do not run through it."""
    return geom_label(
        frame, aes(label="label"), fill=PAPER, label_size=0, label_padding=0.1,
        size=LABEL_SIZE - 1, **where,
    )  # fmt: skip


def _change_layers(
    charts: Mapping[str, ControlChart], timeline: frames.Timeline, *, small: bool
) -> list[Any]:
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
    changes = _panelled(changes, charts)
    line = geom_segment(
        changes, aes(x="x", xend="x", y="low", yend="top"), color=CHANGE, linetype="dashed",
        size=0.4,
    )  # fmt: skip
    if small:
        return [line]
    return [line, _on_paper(changes, ha="left", va="top", nudge_x=0.15, color=CHANGE)]


def _line_text(
    charts: Mapping[str, ControlChart], timeline: frames.Timeline, *, small: bool
) -> list[Any]:
    """Write the value of each centre line where it ends, and name the limits in force."""
    labels = _panelled(frames.centre_labels(charts, timeline), charts)
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
        layers.append(_on_paper(inner, ha="right", va="bottom", nudge_y=lift, color=INK))
    limits = _panelled(frames.limit_labels(charts, timeline), charts)
    if len(limits):
        nudge = 0.02 * timeline.length
        layers.append(
            geom_text(limits, aes(label="label"), ha="left", nudge_x=nudge, size=LABEL_SIZE - 1,
                      color=MUTED)
        )  # fmt: skip
    return layers


def _floor(charts: Mapping[str, ControlChart]) -> list[Any]:
    """Start the axis at zero unless all lies far above it; leave room over a signal's label."""
    rows = []
    for panel, chart in charts.items():
        if axis.bottom(chart) == 0:
            rows.append((panel, 0.0, 0.0))
        if chart.signals:
            rows.append((panel, 0.0, 1.08 * axis.top(chart)))
    frame = _panelled(pd.DataFrame(rows, columns=["panel", "x", "y"]), charts)
    return [geom_blank(frame)] if len(frame) else []
