"""When catheters come out: by hour since placement and by hour of the day."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    geom_line,
    geom_linerange,
    geom_point,
    geom_ribbon,
    ggplot,
    labs,
    scale_color_manual,
    scale_fill_manual,
    scale_x_continuous,
)

from pipeline.analysis.survival.hazard import NIGHT_ENDS, NIGHT_STARTS, ClockHazard, HazardCurve
from pipeline.figures.look import (
    CHART_CM,
    GRID,
    INK,
    MUTED,
    POINT,
    WIDE_CM,
    Drawing,
    group_colours,
    look,
)
from pipeline.figures.steps import HOURS_SHOWN, spread
from pipeline.words.codes import noun_of

UNIT = "per 100 catheter-days"
MOST_WITH_LIMITS = 2
HEADROOM = 1.25  # over the curve; limits may be cut above it
RIGHT_OF_CURVES = 20.0


def hazard_figure(curves: Sequence[HazardCurve]) -> Drawing:
    """Draw the smoothed hazard of one reason by hour since placement, a line a group.

    Parameters
    ----------
    curves : sequence of HazardCurve
        Of one reason; limits are drawn for one or two groups.
    """
    names = [curve.group or "all catheters" for curve in curves]
    frame = pd.concat([_curve(c, n) for c, n in zip(curves, names, strict=True)])
    frame["group"] = pd.Categorical(frame["group"], names)
    colours = dict(zip(names, group_colours(names) if len(names) > 1 else [INK], strict=True))
    top = HEADROOM * max((float(c.hazard.max(initial=0)) for c in curves), default=0) or 1.0
    plot = ggplot(frame, aes("hour", "hazard", color="group"))
    if len(curves) <= MOST_WITH_LIMITS:
        band = aes(ymin="lower", ymax="upper", fill="group")
        plot += geom_ribbon(band, alpha=0.16, color="none", outline_type="full")
        plot += scale_fill_manual(values=colours)
    plot += geom_line(size=0.8)
    plot += scale_color_manual(values=colours)
    right = max((float(c.hours[-1]) for c in curves if len(c.hours)), default=96.0)
    ticks = [hour for hour in HOURS_SHOWN if hour <= right]
    plot += scale_x_continuous(breaks=ticks, minor_breaks=[])
    if len(names) > 1:
        plot += _names(curves, names, colours, top)
        right += RIGHT_OF_CURVES
    plot += coord_cartesian(xlim=(0, right), ylim=(0, top), expand=False)
    plot += labs(x="Hours since placement", y=f"Removed, {UNIT}")
    plot += look(legend_position="none")
    reason = noun_of(curves[0].reason)
    return Drawing(
        plot,
        title=_title(curves, reason),
        caption=(
            f"Hazard of removal for {reason}, smoothed over {curves[0].bandwidth_h:g} h to "
            "either side; it ends where less than a quarter of the catheters remain."
        ),
        alt=_alt(curves, names, reason),
        width_cm=WIDE_CM[0],
        height_cm=WIDE_CM[1],
    )


def clock_figure(clock: ClockHazard) -> Drawing:
    """Draw the rate of removal for one reason by hour of the day, nights tinted."""
    frame = pd.DataFrame(
        {
            "hour": np.arange(24) + 0.5,
            "rate": clock.rate,
            "lower": clock.lower,
            "upper": clock.upper,
        }
    ).dropna()
    top = HEADROOM * max(float(np.nanmax([*clock.upper, 0.0])), 1e-9)
    plot = ggplot(frame, aes("hour", "rate"))
    for start, end in ((0, NIGHT_ENDS), (NIGHT_STARTS, 24)):
        plot += annotate("rect", xmin=start, xmax=end, ymin=0, ymax=top, fill=GRID, alpha=0.6)
    plot += annotate("text", x=NIGHT_ENDS / 2, y=0.96 * top, label="night", size=7, color=MUTED)
    plot += geom_linerange(aes(ymin="lower", ymax="upper"), color=POINT)
    plot += geom_point(color=INK, size=1.8)
    ticks = [0, 6, 12, 18, 24]
    plot += scale_x_continuous(breaks=ticks, minor_breaks=[], labels=[f"{h:02d}:00" for h in ticks])
    plot += coord_cartesian(xlim=(0, 24), ylim=(0, top), expand=False)
    plot += labs(x="Hour of the day", y=f"Removed, {UNIT}")
    plot += look()
    reason = noun_of(clock.reason)
    return Drawing(
        plot,
        title=_clock_title(clock, reason),
        caption=(
            f"Removals for {reason} at an exact time by catheter-days in place at that hour, "
            "with exact Poisson limits."
        ),
        alt=f"Removals for {reason} by clock hour from 0: {_listed(clock)}.",
        width_cm=CHART_CM[0],
        height_cm=CHART_CM[1],
    )


def _curve(curve: HazardCurve, name: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "hour": curve.hours,
            "hazard": curve.hazard,
            "lower": curve.lower,
            "upper": np.where(np.isfinite(curve.upper), curve.upper, curve.hazard),
            "group": name,
        }
    )


def _names(
    curves: Sequence[HazardCurve], names: Sequence[str], colours: dict[str, str], top: float
) -> list[Any]:
    ends = [float(curve.hazard[-1]) if len(curve.hazard) else 0.0 for curve in curves]
    at = max((float(curve.hours[-1]) for curve in curves if len(curve.hours)), default=96.0)
    places = spread(ends, 0.06 * top, 0.03 * top, 0.97 * top)
    return [
        annotate("text", x=at + 1, y=y, label=name, ha="left", size=8, color=colours[name])
        for name, y in zip(names, places, strict=True)
    ]


def _peak(curve: HazardCurve) -> tuple[float, float]:
    i = int(np.argmax(curve.hazard))
    return float(curve.hours[i]), float(curve.hazard[i])


def _title(curves: Sequence[HazardCurve], reason: str) -> str:
    drawn = [curve for curve in curves if len(curve.hours) and curve.events]
    if not drawn:
        return f"When catheters are removed for {reason}"
    if len(curves) > 1:
        means = sorted((float(curve.hazard.mean()), curve.group) for curve in drawn)
        (low, least), (high, most) = means[0], means[-1]
        return (
            f"Removal for {reason}, {UNIT}: {low:.1f} ({least}) to {high:.1f} ({most}) on average"
        )
    hour, _ = _peak(curves[0])
    return f"Removal for {reason} is most frequent about {hour:g} h after placement"


def _alt(curves: Sequence[HazardCurve], names: Sequence[str], reason: str) -> str:
    parts = []
    for curve, name in zip(curves, names, strict=True):
        if not len(curve.hours):
            parts.append(f"{name}: too few catheters")
            continue
        hour, rate = _peak(curve)
        parts.append(f"{name}: highest {rate:.1f} {UNIT} at {hour:g} h")
    return f"Hazard of removal for {reason}. {'; '.join(parts)}."


def _clock_title(clock: ClockHazard, reason: str) -> str:
    night = np.array([h >= NIGHT_STARTS or h < NIGHT_ENDS for h in range(24)])
    days = clock.catheter_hours / 24
    if not days[night].sum() or not days[~night].sum() or not clock.events.sum():
        return f"Removal for {reason} by hour of the day"
    by_night = 100 * clock.events[night].sum() / days[night].sum()
    by_day = 100 * clock.events[~night].sum() / days[~night].sum()
    return f"Removal for {reason}: {by_night:.1f} {UNIT} at night, {by_day:.1f} by day"


def _listed(clock: ClockHazard) -> str:
    return ", ".join("no catheters" if np.isnan(r) else f"{r:.1f}" for r in clock.rate)
