"""Time in place: the proportion still in place, with the numbers under the plot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    element_blank,
    geom_line,
    geom_ribbon,
    geom_text,
    ggplot,
    labs,
    scale_color_manual,
    scale_fill_manual,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.survival.interval_censored import TurnbullCurve
from pipeline.analysis.survival.time_in_place import AT_RISK_HOURS, TimeInPlace
from pipeline.figures.look import (
    INK,
    LABEL_SIZE,
    MUTED,
    WIDE_CM,
    Drawing,
    group_colours,
    look,
)
from pipeline.figures.steps import stepped

EVERYONE = "all catheters"
MOST_WITH_LIMITS = 2  # bands of more groups hide one another
ROW = 0.075  # height of a row of numbers, of the curve's own height
FIRST_ROW = -0.19
NAME_AT = 3.5  # hours right of the last number
RIGHT_OF_NUMBERS = 40.0


def time_in_place_figure(
    curves: Sequence[TimeInPlace],
    *,
    until_h: float = 96.0,
    check: TurnbullCurve | None = None,
) -> Drawing:
    """Draw time in place, for all catheters or by group.

    Parameters
    ----------
    curves : sequence of TimeInPlace
        One a group; limits are drawn for one or two.
    until_h : float
        End of the time axis, hours.
    check : TurnbullCurve, optional
        Estimate from intervals, drawn over a single curve as points.
    """
    names = [curve.group or EVERYONE for curve in curves]
    lines = pd.concat([_corners(c, n, until_h) for c, n in zip(curves, names, strict=True)])
    lines["group"] = pd.Categorical(lines["group"], names)
    table = _table(curves, names, until_h)
    colours = dict(zip(names, group_colours(names) if len(names) > 1 else [INK], strict=True))
    bottom = FIRST_ROW - ROW * (len(names) + 0.6)
    plot = ggplot(lines, aes("hour", "estimate", color="group"))
    if len(curves) <= MOST_WITH_LIMITS:
        band = aes(ymin="lower", ymax="upper", fill="group")
        plot += geom_ribbon(band, alpha=0.16, color="none", outline_type="full")
        plot += scale_fill_manual(values=colours)
    plot += geom_line(size=0.8)
    if check is not None:
        plot += _check_points(check, until_h)
    plot += geom_text(
        aes("hour", "y", label="label"), data=table[table["hour"] <= until_h], size=LABEL_SIZE
    )
    plot += geom_text(
        aes("hour", "y", label="label"),
        data=table[table["hour"] > until_h],
        size=LABEL_SIZE,
        ha="left",
    )
    plot += annotate(
        "text", x=0, y=FIRST_ROW, label="Number still in place", ha="left", size=7, color=MUTED
    )
    plot += scale_color_manual(values=colours)
    plot += _axes(until_h)
    plot += coord_cartesian(
        xlim=(-5, until_h + RIGHT_OF_NUMBERS), ylim=(bottom, 1.02), expand=False
    )
    plot += labs(x="Hours since placement", y="Still in place")
    plot += look(legend_position="none", axis_line_x=element_blank())
    return Drawing(
        plot,
        title=_title(curves, names),
        caption=_caption(curves, check),
        alt=_alt(curves, names),
        width_cm=WIDE_CM[0],
        height_cm=WIDE_CM[1] + 0.5 * len(names),
    )


def _corners(curve: TimeInPlace, name: str, until_h: float) -> pd.DataFrame:
    heights = [curve.estimate, curve.lower, curve.upper]
    all_out = bool(len(curve.hours)) and curve.estimate[-1] == 0
    hours, drawn = stepped(curve.hours, heights, [1.0, 1.0, 1.0], until_h, all_out=all_out)
    frame = pd.DataFrame(dict(zip(["estimate", "lower", "upper"], drawn, strict=True)))
    return frame.assign(hour=hours, group=name)


def _table(curves: Sequence[TimeInPlace], names: Sequence[str], until_h: float) -> pd.DataFrame:
    """Make the rows of numbers under the plot, each with its name at the right."""
    hours = [hour for hour in AT_RISK_HOURS if hour <= until_h]
    rows = []
    for i, (curve, name) in enumerate(zip(curves, names, strict=True)):
        y = FIRST_ROW - ROW * (i + 1)
        for hour, n in zip(hours, curve.at(hours).n.tolist(), strict=True):
            rows.append((hour, y, f"{n:,}", name))
        rows.append((until_h + NAME_AT, y, name, name))
    frame = pd.DataFrame(rows, columns=["hour", "y", "label", "group"])
    frame["group"] = pd.Categorical(frame["group"], list(names))
    return frame


def _axes(until_h: float) -> list[Any]:
    ticks = [hour for hour in AT_RISK_HOURS if hour <= until_h]
    heights = [0, 0.25, 0.5, 0.75, 1]
    return [
        scale_x_continuous(breaks=ticks, labels=[f"{h:g}" for h in ticks]),
        scale_y_continuous(breaks=heights, labels=[f"{100 * h:g}%" for h in heights]),
    ]


def _check_points(check: TurnbullCurve, until_h: float) -> Any:
    from plotnine import geom_point

    shown = check.hours <= until_h
    frame = pd.DataFrame({"hour": check.hours[shown], "estimate": check.estimate[shown]})
    return geom_point(
        aes("hour", "estimate"), data=frame, inherit_aes=False, color=INK, fill="white", size=1.6
    )


def _title(curves: Sequence[TimeInPlace], names: Sequence[str]) -> str:
    medians = [(curve.median.hours, name) for curve, name in zip(curves, names, strict=True)]
    known = sorted((hours, name) for hours, name in medians if np.isfinite(hours))
    if len(known) < len(medians) or not known:
        return "How long catheters stay in place"
    if len(known) == 1:
        return f"Half of the catheters were out by {known[0][0]:.3g} h"
    (first, early), (last, late) = known[0], known[-1]
    if first == last:
        return f"Half of the catheters were out by {first:.3g} h in every group"
    return f"Half of the catheters were out by {first:.3g} h ({early}) to {last:.3g} h ({late})"


def _caption(curves: Sequence[TimeInPlace], check: TurnbullCurve | None) -> str:
    band = ", band: 95% log(-log) limits" if len(curves) <= MOST_WITH_LIMITS else ""
    points = "" if check is None else "; circles: Turnbull estimate from intervals"
    return f"Kaplan-Meier estimate{band}{points}."


def _alt(curves: Sequence[TimeInPlace], names: Sequence[str]) -> str:
    parts = []
    for curve, name in zip(curves, names, strict=True):
        at = curve.at([24, 48, 72])
        said = [
            f"{100 * p:.0f}% at {h:g} h"
            for h, p in zip(at.hours, at.estimate, strict=True)
            if np.isfinite(p)
        ]
        parts.append(f"{name}: {', '.join(said) or 'not followed to 24 h'}")
    return f"Still in place, {'; '.join(parts)}."
