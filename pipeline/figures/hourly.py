"""Curves by hour since placement, a line a group with its name beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    geom_line,
    geom_ribbon,
    ggplot,
    labs,
    scale_color_manual,
    scale_fill_manual,
    scale_x_continuous,
)

from pipeline.analysis.survival.event_counts import Floats
from pipeline.figures.look import INK, group_colours, look
from pipeline.figures.steps import HOURS_SHOWN, spread

EVERYONE = "all catheters"
MOST_WITH_LIMITS = 2
HEADROOM = 1.25  # over the curves; limits may be cut above it
PANEL_CM, LETTER_CM = 14.0, 0.155  # of a wide figure; of a name beside its line
LAST_H = 96.0  # where there is no curve


@dataclass(frozen=True)
class HourlyCurve:
    """One group's line with limits, shape (k,) each; an empty name is everyone's."""

    name: str
    hours: Floats
    value: Floats
    lower: Floats
    upper: Floats


def hourly_plot(curves: Sequence[HourlyCurve], y: str) -> ggplot:
    """Draw a line a group; limits for one or two. `y` names the vertical axis."""
    names = [curve.name or EVERYONE for curve in curves]
    frame = pd.concat([_frame(c, n) for c, n in zip(curves, names, strict=True)])
    frame["group"] = pd.Categorical(frame["group"], names)
    colours = dict(zip(names, group_colours(names) if len(names) > 1 else [INK], strict=True))
    top = HEADROOM * max((float(c.value.max(initial=0)) for c in curves), default=0) or 1.0
    plot = ggplot(frame, aes("hour", "value", color="group"))
    if len(curves) <= MOST_WITH_LIMITS:
        band = aes(ymin="lower", ymax="upper", fill="group")
        plot += geom_ribbon(band, alpha=0.16, color="none", outline_type="full")
        plot += scale_fill_manual(values=colours)
    plot += geom_line(size=0.8)
    plot += scale_color_manual(values=colours)
    right = max((float(c.hours[-1]) for c in curves if len(c.hours)), default=LAST_H)
    ticks = [hour for hour in HOURS_SHOWN if hour <= right]
    plot += scale_x_continuous(breaks=ticks)
    if len(names) > 1:
        ends = [float(curve.value[-1]) if len(curve.value) else 0.0 for curve in curves]
        places = spread(ends, 0.06 * top, 0.03 * top, 0.97 * top)
        plot += [
            annotate("text", x=right + 1, y=y, label=name, ha="left", size=8, color=colours[name])
            for name, y in zip(names, places, strict=True)
        ]
        right /= 1 - (0.4 + LETTER_CM * max(map(len, names))) / PANEL_CM
    plot += coord_cartesian(xlim=(0, right), ylim=(0, top), expand=False)
    plot += labs(x="Hours since placement", y=y)
    return plot + look(legend_position="none")


def _frame(curve: HourlyCurve, name: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "hour": curve.hours,
            "value": curve.value,
            "lower": curve.lower,
            "upper": np.where(np.isfinite(curve.upper), curve.upper, curve.value),
            "group": name,
        }
    )
