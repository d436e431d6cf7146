"""Funnel plots: each group's crude rate against its volume."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    geom_hline,
    geom_path,
    geom_point,
    geom_text,
    ggplot,
    labs,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.comparison.compare import Comparison
from pipeline.analysis.comparison.funnel import Funnel, funnel
from pipeline.figures.group_words import Labels, calls_title, label, plain
from pipeline.figures.label_places import LINE_CM, Frame, places
from pipeline.figures.look import (
    CENTRE,
    CHART_CM,
    INK,
    LABEL_SIZE,
    LIMIT,
    MUTED,
    POINT,
    Drawing,
    look,
)
from pipeline.measures.catalogue import Measure
from pipeline.words.numbers import joined, noun

MOST_NAMED = 3  # groups set aside, in the caption
MOST_LABELS = 12  # with more groups only those farthest outside the 99.8% limits are named
STRIP = 0.75  # with all that is drawn above this share of the highest, the axis begins higher
SIZE_CM = (CHART_CM[0], CHART_CM[1] + 1.2)
LINES = ("lower_95", "upper_95", "lower_998", "upper_998")


def funnel_figure(
    comparison: Comparison,
    measure: Measure,
    *,
    labels: Labels = None,
) -> Drawing | None:
    """Draw each group's crude rate against its volume, with 95% and 99.8% limits.

    Parameters
    ----------
    comparison : Comparison
        The groups.
    measure : Measure
        Its card.
    labels : mapping of str to str, optional
        What to print for a group, where that is not its code.

    Returns
    -------
    Drawing or None
        None where there are not two groups, or none has an event.
    """
    rows = comparison.rows
    if len(rows) < 2 or sum(row.numerator for row in rows) == 0:
        return None
    made = funnel(
        [label(row.group, labels) for row in rows],
        [row.numerator for row in rows],
        [row.denominator for row in rows],
        kind=comparison.kind,
        multiplier=comparison.multiplier,
        centre=comparison.network_rate / comparison.multiplier,
    )
    points = _funnel_points(made, [row.called for row in rows])
    frame = _frame(made, points)
    plot = _funnel_plot(made, points, measure, frame)
    return Drawing(
        plot,
        title=calls_title(measure, comparison, labels),
        caption=_funnel_caption(made, _aside(comparison, labels))
        + (" The axis does not begin at 0." if frame.bottom > 0 else ""),
        alt=_funnel_alt(measure, made, points),
        width_cm=SIZE_CM[0],
        height_cm=SIZE_CM[1],
    )


def _funnel_points(made: Funnel, called: Sequence[bool]) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "group": made.groups,
            "volume": made.denominator,
            "rate": made.rate,
            "status": made.status,
            "called": called,
        }
    )
    if len(frame) <= MOST_LABELS:
        return frame.assign(is_named=True)
    # Of very many, some lie outside 95% by chance alone: only those far out are named.
    far = (frame["rate"] - made.centre).abs() * np.sqrt(frame["volume"])
    named = far[frame["called"] | (frame["status"] == "outside 99.8%")].nlargest(MOST_LABELS).index
    return frame.assign(is_named=frame.index.isin(named))


def _frame(made: Funnel, points: pd.DataFrame) -> Frame:
    """Begin at nothing, unless that would press every point into a strip at the top."""
    shown = points.index
    high = max(points["rate"].max(), made.limits.upper_998[shown].max())
    low = min(points["rate"].min(), made.limits.lower_998[shown].min())
    room = 0.12 * (high - low)
    bottom = low - room if low > STRIP * high else 0.0
    top = high + room if bottom else 1.08 * high
    if made.kind == "proportion":
        top = min(top, made.multiplier * 1.005)
    volume = made.curve.volume
    return Frame(
        min(volume.min(), points["volume"].min()) * 0.9, volume.max() * 1.1, bottom, top, SIZE_CM
    )


def _funnel_plot(made: Funnel, points: pd.DataFrame, measure: Measure, frame: Frame) -> ggplot:
    dark = points["called"]
    volume = made.curve.volume
    plot = ggplot(points, aes("volume", "rate"))
    for line in LINES:
        curve = pd.DataFrame({"volume": volume, "rate": getattr(made.curve, line)})
        style = "solid" if line.endswith("998") else "dashed"
        plot += geom_path(data=curve, color=LIMIT, size=0.35, linetype=style)
    plot += geom_hline(yintercept=made.centre, color=CENTRE, size=0.55)
    plot += geom_point(data=points[~dark], color=POINT, size=2)
    plot += geom_point(data=points[dark], color=INK, size=2.4)
    ends = _line_names(made, frame)
    for x, y, text in ends:
        plot += annotate(
            "text", x=x, y=y, label=text, ha="left", va="center", size=LABEL_SIZE, color=MUTED
        )
    for layer in _names(points, made, frame, ends):
        plot += layer
    plot += coord_cartesian(
        xlim=(frame.left, frame.right), ylim=(frame.bottom, frame.top), expand=False
    )
    plot += scale_x_continuous(labels=plain)
    plot += scale_y_continuous(labels=plain)
    plot += labs(x=noun(measure.unit, 2).capitalize(), y=measure.unit.capitalize())
    return plot + look(legend_position="none")


def _line_names(made: Funnel, frame: Frame) -> list[tuple[float, float, str]]:
    """Name the limits at the ends of their upper lines; in one where they lie close."""
    x = made.curve.volume.max() * 1.01
    outer, inner = (float(getattr(made.curve, line)[-1]) for line in ("upper_998", "upper_95"))
    apart = float(np.ptp(frame.centimetres([x, x], [outer, inner])[:, 1]))
    if apart >= LINE_CM * LABEL_SIZE:
        return [(x, outer, "99.8%"), (x, inner, "95%")]
    lift = frame.values(0, LINE_CM * LABEL_SIZE)[1] - frame.bottom - (outer - inner)
    return [(x, outer + lift / 2, "99.8%"), (x, inner - lift / 2, "95%")]


def _names(
    points: pd.DataFrame, made: Funnel, frame: Frame, ends: Sequence[tuple[float, float, str]]
) -> list[geom_text]:
    """Write names beside their points, off the lines and off each other."""
    volume = made.curve.volume
    steps = np.linspace(volume.min(), volume.max(), 4 * len(volume))
    lines = [np.interp(steps, volume, getattr(made.curve, line)) for line in LINES]
    lines.append(np.full(len(steps), made.centre))
    # Those farthest out choose their place first.
    text = points.assign(far=(points["rate"] - made.centre).abs()).sort_values(
        ["is_named", "far"], ascending=False, kind="stable"
    )
    corners = [frame.centimetres(x, y)[0] for x, y, _ in ends]
    height = LINE_CM * LABEL_SIZE / 2
    found = places(
        frame.centimetres(text["volume"], text["rate"]),
        np.where(text["is_named"], text["group"], "").tolist(),
        lines=[frame.centimetres(steps, line) for line in lines],
        taken=[(x, frame.panel[0], y - height, y + height) for x, y in corners],
        panel=frame.panel,
        size=LABEL_SIZE,
    )
    at = [frame.values(place.x, place.y) for place in found]
    text = text.assign(
        volume=[x for x, _ in at],
        rate=[y for _, y in at],
        side=[f"{place.ha} {place.va}" for place in found],
    )[text["is_named"].to_numpy()]
    return [
        geom_text(
            data=part,
            mapping=aes(label="group"),
            ha=side.split()[0],
            va=side.split()[1],
            size=LABEL_SIZE,
            color=INK,
        )
        for side, part in text.groupby("side")
    ]


def _who(names: Sequence[str], word: str) -> str:
    return joined(names) if len(names) <= MOST_NAMED else f"{len(names)} {word}s"


def _aside(comparison: Comparison, labels: Labels) -> str:
    """Say whom the centre leaves out."""
    model = comparison.expectation
    names = [g for g, is_aside in zip(model.groups, model.is_aside, strict=True) if is_aside]
    if not names:
        return ""
    who = _who([label(name, labels) for name in names], "group")
    return f" but for {who}, far from the rest"


def _funnel_caption(made: Funnel, aside: str) -> str:
    law = "binomial" if made.kind == "proportion" else "Poisson"
    limits = f"exact {law} limits"
    if made.is_widened:
        limits += f", widened for over-dispersion (factor {made.dispersion.phi:.2f})"
    return (
        f"Funnel plot of crude rates; line: all together{aside}; {limits} at 95% (dashed) "
        f"and 99.8%; dark: called different. Not a ranking."
    )


def _funnel_alt(measure: Measure, made: Funnel, points: pd.DataFrame) -> str:
    named = points if len(points) <= MOST_LABELS else points[points["status"] != "inside"]
    parts = [f"{p.group} {p.rate:.3g} of {p.volume:,.0f} ({p.status})" for p in named.itertuples()]
    if len(named) < len(points):
        parts.append(f"{len(points) - len(named):,} others inside the limits")
    shown = "; ".join(parts)
    return (
        f"Funnel plot of {measure.title.lower()}, {measure.unit}, against "
        f"{noun(measure.unit, 2)}. All together {made.centre:.3g}. {shown}."
    )
