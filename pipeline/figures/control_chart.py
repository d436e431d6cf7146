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
    element_text,
    facet_wrap,
    geom_blank,
    geom_line,
    geom_path,
    geom_point,
    ggplot,
    labs,
    scale_x_continuous,
    scale_y_continuous,
    theme,
)

from pipeline.analysis.charts.results import ControlChart
from pipeline.figures import chart_axis as axis
from pipeline.figures import chart_frames as frames
from pipeline.figures import chart_text as text
from pipeline.figures.evidence_panel import BENEATH, EXTRA_CM, READ, evidence_layers, two_panels
from pipeline.figures.look import (
    CENTRE,
    CHART_CM,
    INK,
    LIMIT,
    MUTED,
    PAPER,
    POINT,
    SIGNAL,
    SMALL_PT,
    WIDE_CM,
    Drawing,
    look,
)
from pipeline.words.chart import description, headline, method
from pipeline.words.numbers import count

SMALL_COLUMNS = 3
PANEL_CM = (5.2, 3.9)
LONGEST_PANEL = 26
MANY = 24
"""Panels above which they are made small enough for one page."""
TINY_CM = (3.0, 2.2)
PAGE = 0.71
"""Width over height of a page."""
SIGNAL_WORDS = {"call": "moved", "watch": "watch", "beyond_limit": "limit", "long_run": "run"}


def control_chart_figure(
    chart: ControlChart,
    subject: str,
    *,
    title: str | None = None,
) -> Drawing:
    """Draw one control chart.

    Parameters
    ----------
    chart : ControlChart
        Ready to draw.
    subject : str
        What is charted, such as the measure's title.
    title : str, optional
        The finding; made from the chart where none is given.
    """
    plot, caption = _layers({READ: chart}, chart.unit, small=False), method(chart)
    has_evidence = chart.cusum is not None and chart.cusum.is_judged
    if chart.cusum is not None and has_evidence:
        timeline = frames.Timeline.over([chart])
        for layer in (*evidence_layers(chart.cusum, timeline), *two_panels()):
            plot += layer
        caption = f"{caption.rstrip('.')}; {BENEATH}."
    return Drawing(
        plot=plot,
        title=title or headline(chart, subject),
        caption=caption,
        alt=description(chart, subject),
        width_cm=CHART_CM[0],
        height_cm=CHART_CM[1] + (EXTRA_CM if has_evidence else 0.0),
    )


def small_multiples(
    charts: Mapping[str, ControlChart],
    subject: str,
    *,
    title: str | None = None,
    common_axes: bool = True,
) -> Drawing:
    """Draw many control charts on one page, a panel each.

    Of more than 24 the panels are tiny, so that two hundred fit a page of A3: they show
    where to look, not what to read off.

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
    """
    tiny = len(charts) > MANY
    across, down = TINY_CM if tiny else PANEL_CM
    most = round((PAGE * len(charts) * down / across) ** 0.5) if tiny else SMALL_COLUMNS
    columns = max(1, min(most, len(charts)))
    rows = ceil(max(len(charts), 1) / columns)
    label = next(iter(charts.values())).unit if common_axes and charts else ""
    panels = {fill(_heading(name, c), LONGEST_PANEL): c for name, c in charts.items()}
    plot = _layers(panels, label, small=True, tiny=tiny) + facet_wrap(
        "panel", ncol=columns, scales="fixed" if common_axes else "free_y"
    )
    signalling = [panel for panel, chart in charts.items() if chart.signals]
    return Drawing(
        plot=plot + _tiny_text() if tiny else plot,
        title=title or _many_headline(subject, signalling, len(charts)),
        caption=_many_method(charts, common_axes=common_axes),
        alt=" ".join(description(chart, panel) for panel, chart in charts.items()),
        width_cm=max(WIDE_CM[0], across * columns),
        height_cm=1.6 + down * rows,
    )


def _heading(name: str, chart: ControlChart) -> str:
    """Head a panel with its name and, in a word, what signals in it."""
    kinds = dict.fromkeys(SIGNAL_WORDS[s.kind] for s in chart.signals)
    return f"{name}: {', '.join(kinds)}" if kinds else name


def _tiny_text() -> theme:
    return theme(
        strip_text=element_text(size=SMALL_PT - 2, ha="left", color=INK),
        axis_text=element_text(size=SMALL_PT - 2, color=MUTED),
        panel_spacing_y=0.008,
    )


def _many_headline(subject: str, signalling: list[str], number: int) -> str:
    if not signalling:
        return f"{subject}: no signal in {count(number, 'chart')}"
    named = ", ".join(signalling) if len(signalling) <= 4 else f"{len(signalling)} of {number}"
    return f"{subject}: signals in {named}"


def _many_method(charts: Mapping[str, ControlChart], *, common_axes: bool) -> str:
    kinds = sorted({chart.kind for chart in charts.values()})
    axes = "one scale for all" if common_axes else "each panel its own scale"
    counts = ", ".join(f"{sum(c.kind == k for c in charts.values())} {k}" for k in kinds).replace(
        "'", "′"
    )
    return (
        f"Control charts ({counts}); {axes}; dark points are signals, hollow ones provisional, "
        "shaded months the baseline; a heading says what signals: moved or watch (evidence added "
        "up, which marks no point), a limit passed, or a run."
    )


def _layers(
    charts: Mapping[str, ControlChart], y_label: str, *, small: bool, tiny: bool = False
) -> ggplot:
    """Lay limits under the centre line, the line under the points, labels on top."""
    timeline = frames.Timeline.over(charts.values())
    at, names = timeline.years() if small else timeline.ticks()
    if tiny:
        at, names = at[:: max(1, len(at) - 1)], names[:: max(1, len(at) - 1)]
    end = timeline.length - 0.5
    room = max(1.0, (0.03 if tiny else 0.2 if small else 0.09) * timeline.length)
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
            panel_spacing_y=0.03,
        )
    )
    for layer in (
        *text.baseline_layers(charts, timeline, small=small),
        *_limit_layers(charts, timeline),
        *text.change_layers(charts, timeline, small=small),
        *([] if tiny else text.line_text(charts, timeline, small=small)),
        *_point_layers(charts, timeline, size=0.3 if tiny else 1.0 if small else 1.7),
        *_floor(charts),
    ):
        plot += layer
    return plot


def _plain(breaks: Sequence[Any]) -> list[str]:
    """Write axis numbers without needless decimals."""
    return [f"{value:,.10g}" for value in breaks]


def _limit_layers(charts: Mapping[str, ControlChart], timeline: frames.Timeline) -> list[Any]:
    layers: list[Any] = []
    for lines, colour, size in (
        (("lower", "upper"), LIMIT, 0.35),
        (("centre",), CENTRE, 0.55),
    ):
        frame = text.panelled(frames.step_frame(charts, timeline, *lines), charts)
        if len(frame):
            layers.append(geom_path(frame, aes(group="piece"), color=colour, size=size))
    return layers


def _point_layers(
    charts: Mapping[str, ControlChart], timeline: frames.Timeline, *, size: float
) -> list[Any]:
    points = text.panelled(frames.point_frame(charts, timeline), charts)
    if points.empty:
        return []
    layers = text.month_layers(points) if size > 1 else []
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


def _floor(charts: Mapping[str, ControlChart]) -> list[Any]:
    """Start the axis at zero unless all lies far above it; leave room over a signal's label."""
    rows = []
    for panel, chart in charts.items():
        if axis.bottom(chart) == 0:
            rows.append((panel, 0.0, 0.0))
        if chart.signals:
            rows.append((panel, 0.0, 1.08 * axis.top(chart)))
    frame = text.panelled(pd.DataFrame(rows, columns=["panel", "x", "y"]), charts)
    return [geom_blank(frame)] if len(frame) else []
