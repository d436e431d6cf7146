"""Adjusted ratios in alphabetical or volume order, and how well their model fits."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    element_blank,
    element_text,
    geom_abline,
    geom_linerange,
    geom_point,
    geom_segment,
    geom_text,
    ggplot,
    labs,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.comparison.compare import Comparison, GroupRow
from pipeline.analysis.rates.rates import rates
from pipeline.figures.group_words import Labels, calls_title, label
from pipeline.figures.look import CENTRE, INK, LABEL_SIZE, MUTED, POINT, WIDE_CM, Drawing, look
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import DIMENSIONS
from pipeline.words.numbers import chance, joined, ratio, with_limits

ROW_CM = 0.62
TICKS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)


def ratio_figure(
    comparison: Comparison,
    measure: Measure,
    *,
    labels: Labels = None,
) -> Drawing | None:
    """Draw observed-to-expected ratios with limits, and shrunken ones, in the rows' order.

    Parameters and return value as for :func:`funnel_figure`.
    """
    rows = [row for row in comparison.rows if np.isfinite(row.ratio) and row.expected > 0]
    if len(rows) < 2:
        return None
    frame = _ratio_frame(rows, labels, comparison.multiplier)
    low, high = _ends(frame)
    plot = _ratio_plot(frame, low, high)
    return Drawing(
        plot,
        title=calls_title(measure, comparison, labels),
        caption=_ratio_caption(comparison),
        alt=_ratio_alt(measure, rows, labels),
        width_cm=WIDE_CM[0],
        height_cm=2.8 + ROW_CM * len(rows),
    )


def _ratio_frame(rows: Sequence[GroupRow], labels: Labels, multiplier: float) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "group": [label(row.group, labels) for row in rows],
            "ratio": [row.ratio for row in rows],
            "lower": [row.ratio_lower for row in rows],
            "upper": [row.ratio_upper for row in rows],
            "shrunken": [
                row.shrunken * row.denominator / (row.expected * multiplier) for row in rows
            ],
            "above": [chance(row.above_network) for row in rows],
            "called": [row.called for row in rows],
        }
    )
    text = [with_limits(r.ratio, r.lower, r.upper, ratio) for r in frame.itertuples()]
    return frame.assign(text=text, y=np.arange(len(frame))[::-1].astype(float))


def _ends(frame: pd.DataFrame) -> tuple[float, float]:
    low = min(0.5, float(frame["lower"][frame["lower"] > 0].min()))
    high = max(2.0, float(frame["upper"].max()))
    return max(low * 0.9, 0.09), min(high * 1.1, 11.0)


def _ratio_plot(frame: pd.DataFrame, low: float, high: float) -> ggplot:
    drawn = frame.assign(
        **{
            name: np.log(np.clip(frame[name], low, high))
            for name in ("ratio", "lower", "upper", "shrunken")
        }
    )
    span, rows = np.log(high) - np.log(low), len(frame)
    plot = ggplot(drawn, aes("ratio", "y"))
    plot += annotate("segment", x=0, xend=0, y=-0.6, yend=rows - 0.4, color=CENTRE, size=0.4)
    plot += geom_segment(aes("lower", "y", xend="upper", yend="y"), color=POINT, size=0.6)
    plot += geom_point(data=drawn[~drawn["called"]], color=POINT, size=2.2)
    plot += geom_point(data=drawn[drawn["called"]], color=INK, size=2.6)
    plot += geom_point(
        aes(x="shrunken"), data=drawn.dropna(subset=["shrunken"]), shape="|", color=INK, size=3
    )
    for share, column, head in (
        (0.04, "text", "Ratio (95% limits)"),
        (0.62, "above", "Probability above"),
    ):
        at = np.log(high) + share * span
        plot += geom_text(
            aes(x=at, label=column), ha="left", size=LABEL_SIZE, color=INK, inherit_aes=True
        )
        plot += annotate("text", x=at, y=rows, label=head, ha="left", size=LABEL_SIZE, color=MUTED)
    ticks = [t for t in TICKS if low <= t <= high]
    plot += scale_x_continuous(breaks=list(np.log(ticks)), labels=[f"{t:g}" for t in ticks])
    plot += scale_y_continuous(breaks=list(frame["y"]), labels=list(frame["group"]))
    plot += coord_cartesian(
        xlim=(np.log(low), np.log(high) + 1.12 * span), ylim=(-0.6, rows + 0.5), expand=False
    )
    plot += labs(x="Observed to expected (log scale)", y="")
    return plot + look(
        legend_position="none",
        panel_grid_major=element_blank(),
        axis_text_y=element_text(size=LABEL_SIZE, color=INK),
        axis_ticks_y=element_blank(),
        axis_title_x=element_text(ha=0.0, size=LABEL_SIZE, color=MUTED),
    )


def _ratio_caption(comparison: Comparison) -> str:
    terms = comparison.expectation.terms
    mix = f", given {joined([DIMENSIONS[term].title for term in terms])}" if terms else ""
    return (
        f"Events observed over those expected from the other groups{mix}; limits of how far a "
        "group is from an ordinary one; dark: called at a false discovery rate of 5%; "
        "bar: shrunken estimate. Not a ranking."
    )


def _ratio_alt(measure: Measure, rows: Sequence[GroupRow], labels: Labels) -> str:
    shown = "; ".join(
        f"{label(r.group, labels)} {with_limits(r.ratio, r.ratio_lower, r.ratio_upper, ratio)}"
        for r in rows
    )
    return f"Observed to expected numbers of {measure.title.lower()} with 95% limits: {shown}."


def calibration_figure(comparison: Comparison, measure: Measure) -> Drawing | None:
    """Draw observed against predicted rates, in tenths of predicted risk.

    None where there are fewer than three tenths, or the model has no term.
    """
    model = comparison.expectation
    table = model.calibration
    if not model.terms or len(table.observed) < 3:
        return None
    own = rates(
        table.observed, table.denominator, kind=comparison.kind, multiplier=comparison.multiplier
    )
    predicted = table.expected / table.denominator * comparison.multiplier
    frame = pd.DataFrame(
        {"predicted": predicted, "rate": own.rate, "lower": own.lower, "upper": own.upper}
    )
    plot = ggplot(frame, aes("predicted", "rate"))
    plot += geom_abline(intercept=0, slope=1, color=CENTRE, size=0.45)
    plot += geom_linerange(aes(ymin="lower", ymax="upper"), color=POINT)
    plot += geom_point(color=INK, size=1.8)
    plot += labs(x=f"Predicted, {measure.unit}", y=f"Observed, {measure.unit}")
    plot += look(legend_position="none")
    pairs = "; ".join(f"{p.predicted:.3g} predicted, {p.rate:.3g}" for p in frame.itertuples())
    return Drawing(
        plot,
        title=f"{measure.title}: how the case-mix model fits",
        caption=(
            "Tenths of predicted risk, predicted without their own group and scaled to its "
            "total; line: perfect agreement; 95% limits; "
            f"c-statistic {model.c_statistic:.2f} (0.5 tells nothing)."
        ),
        alt=f"Predicted and observed {measure.title.lower()}, {measure.unit}: {pairs}.",
        width_cm=9.0,
        height_cm=8.0,
    )
