"""When catheters come out: by hour since placement and by hour of the day."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    geom_linerange,
    geom_point,
    ggplot,
    labs,
    scale_x_continuous,
)

from pipeline.analysis.survival.hazard import NIGHT_ENDS, NIGHT_STARTS, ClockHazard, HazardCurve
from pipeline.figures.hourly import EVERYONE, HEADROOM, HourlyCurve, hourly_plot
from pipeline.figures.look import (
    CHART_CM,
    GRID,
    INK,
    MUTED,
    POINT,
    WIDE_CM,
    Drawing,
    look,
)
from pipeline.words.codes import noun_of

UNIT = "per 100 catheter-days"


def hazard_figure(curves: Sequence[HazardCurve]) -> Drawing:
    """Draw the smoothed hazard of one reason by hour since placement, a line a group.

    Parameters
    ----------
    curves : sequence of HazardCurve
        Of one reason; limits are drawn for one or two groups.
    """
    names = [curve.group or EVERYONE for curve in curves]
    lines = [HourlyCurve(c.group, c.hours, c.hazard, c.lower, c.upper) for c in curves]
    plot = hourly_plot(lines, f"Removed, {UNIT}")
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
    plot += scale_x_continuous(breaks=ticks, labels=[f"{h:02d}:00" for h in ticks])
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
