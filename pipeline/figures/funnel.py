"""Funnel plots: each group's crude rate against its volume."""

from __future__ import annotations

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

from pipeline.analysis.comparison import Comparison
from pipeline.analysis.funnel import Funnel, funnel
from pipeline.figures.group_words import (
    GROUP_WORDS,
    Hidden,
    Labels,
    label,
    left_out,
    listed,
    plain,
    things,
)
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
from pipeline.figures.steps import spoken
from pipeline.measures.catalogue import Measure

MOST_NAMED = 3  # groups set aside, in the caption
MOST_LABELS = 12  # with more groups only those outside the limits are named


def funnel_figure(
    comparison: Comparison,
    measure: Measure,
    hidden: Hidden,
    *,
    labels: Labels = None,
    title: str | None = None,
) -> Drawing | None:
    """Draw each group's crude rate against its volume, with 95% and 99.8% limits.

    Parameters
    ----------
    comparison : Comparison
        The groups.
    measure : Measure
        Its card.
    hidden : sequence of bool
        Rows whose figures are withheld: they count in the centre and are not drawn.
    labels : mapping of str to str, optional
        What to print for a group, where that is not its code.
    title : str, optional
        The finding; made from the figures where none is given.

    Returns
    -------
    Drawing or None
        None where fewer than two groups may be shown, or none has an event.
    """
    rows = comparison.rows
    keep = ~np.asarray(hidden, bool)
    if keep.sum() < 2 or sum(row.numerator for row in rows) == 0:
        return None
    made = funnel(
        [label(row.group, labels) for row in rows],
        [row.numerator for row in rows],
        [row.denominator for row in rows],
        kind=comparison.kind,
        multiplier=comparison.multiplier,
        centre=comparison.network_rate / comparison.multiplier,
    )
    points = _funnel_points(made, keep)
    outside = points[points["status"] != "inside"]
    plot = _funnel_plot(made, points, measure)
    withheld = int((~keep).sum())
    return Drawing(
        plot,
        title=title or _funnel_title(measure, comparison, outside),
        caption=_funnel_caption(made, _aside(comparison, labels), withheld),
        alt=_funnel_alt(measure, made, points),
        width_cm=CHART_CM[0],
        height_cm=CHART_CM[1] + 1.2,
    )


def _funnel_points(made: Funnel, keep: np.ndarray) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "group": made.groups,
            "volume": made.denominator,
            "rate": made.rate,
            "status": made.status,
        }
    )[keep]
    named = frame["status"] != "inside" if len(frame) > MOST_LABELS else True
    return frame.assign(label=np.where(named, frame["group"], ""))


def _funnel_plot(made: Funnel, points: pd.DataFrame, measure: Measure) -> ggplot:
    is_out = points["status"] != "inside"
    plot = ggplot(points, aes("volume", "rate"))
    for line in ("lower_95", "upper_95", "lower_998", "upper_998"):
        frame = pd.DataFrame({"volume": made.curve.volume, "rate": getattr(made.curve, line)})
        style = "solid" if line.endswith("998") else "dashed"
        plot += geom_path(data=frame, color=LIMIT, size=0.35, linetype=style)
    plot += geom_hline(yintercept=made.centre, color=CENTRE, size=0.55)
    plot += geom_point(data=points[~is_out], color=POINT, size=2)
    plot += geom_point(data=points[is_out], color=INK, size=2.4)
    top = max(points["rate"].max(), made.limits.upper_998.max()) * 1.08
    for layer in _names(points, made.curve.volume.max(), top):
        plot += layer
    for share, line in (("99.8%", "upper_998"), ("95%", "upper_95")):
        plot += annotate(
            "text",
            x=made.curve.volume.max() * 1.01,
            y=getattr(made.curve, line)[-1],
            label=share,
            ha="left",
            size=LABEL_SIZE,
            color=MUTED,
        )
    low = min(made.curve.volume.min(), points["volume"].min())
    plot += coord_cartesian(
        xlim=(low * 0.9, made.curve.volume.max() * 1.1), ylim=(0, top), expand=False
    )
    plot += scale_x_continuous(labels=plain)
    plot += scale_y_continuous(labels=plain)
    plot += labs(x=things(measure).capitalize(), y=measure.unit.capitalize())
    return plot + look(legend_position="none")


def _names(points: pd.DataFrame, right: float, top: float) -> list[geom_text]:
    """Write names beside their points; below where another's stands just above."""
    text = points[points["label"] != ""].sort_values("rate", ascending=False)
    placed: list[tuple[float, float]] = []
    above = []
    for point in text.itertuples():
        is_free = all(
            abs(point.volume - x) > 0.16 * right or abs(point.rate - y) > 0.06 * top
            for x, y in placed
        )
        above.append(is_free)
        placed.append((point.volume, point.rate))
    text = text.assign(volume=text["volume"] + 0.015 * right, is_above=above)
    return [
        geom_text(
            data=text[text["is_above"] == side],
            mapping=aes(label="label"),
            ha="left",
            va="bottom" if side else "top",
            size=LABEL_SIZE,
            color=INK,
        )
        for side in (True, False)
        if (text["is_above"] == side).any()
    ]


def _funnel_title(measure: Measure, comparison: Comparison, outside: pd.DataFrame) -> str:
    word = GROUP_WORDS.get(comparison.by, spoken(comparison.by))
    if outside.empty:
        return f"{measure.title}: no {word} lies outside the limits"
    far = outside[outside["status"] == "outside 99.8%"]
    named, limit = (far, "99.8%") if len(far) else (outside, "95%")
    sides = [
        f"{listed(part['group'])} {side}"
        for side, part in (
            ("above", named[named["rate"] > comparison.network_rate]),
            ("below", named[named["rate"] <= comparison.network_rate]),
        )
        if len(part)
    ]
    return f"{measure.title}: {', '.join(sides)} the {limit} limit"


def _aside(comparison: Comparison, labels: Labels) -> str:
    """Say whom the centre leaves out."""
    model = comparison.expectation
    names = [g for g, is_aside in zip(model.groups, model.is_aside, strict=True) if is_aside]
    if not names:
        return ""
    named = [label(name, labels) for name in names]
    who = listed(named) if len(named) <= MOST_NAMED else f"{len(named)} groups"
    return f" but for {who}, far from the rest"


def _funnel_caption(made: Funnel, aside: str, withheld: int) -> str:
    law = "binomial" if made.kind == "proportion" else "Poisson"
    limits = f"exact {law} limits"
    if made.is_widened:
        limits += f", widened for over-dispersion (factor {made.dispersion.phi:.2f})"
    return (
        f"Funnel plot of crude rates; line: all together{aside}; {limits} at 95% (dashed) "
        f"and 99.8%. Not a ranking.{left_out(withheld)}"
    )


def _funnel_alt(measure: Measure, made: Funnel, points: pd.DataFrame) -> str:
    shown = "; ".join(
        f"{p.group} {p.rate:.3g} of {p.volume:,.0f} ({p.status})" for p in points.itertuples()
    )
    return (
        f"Funnel plot of {measure.title.lower()}, {measure.unit}, against "
        f"{things(measure)}. All together {made.centre:.3g}. {shown}."
    )
