"""Before and after a logged change: months, averages, and the trend fitted to them."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import fill

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    geom_line,
    geom_point,
    geom_segment,
    geom_vline,
    ggplot,
    labs,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.change.effect import ChangeEffect
from pipeline.figures.group_words import plain
from pipeline.figures.look import (
    CENTRE,
    CHANGE,
    CHART_CM,
    INK,
    LABEL_SIZE,
    LIMIT,
    POINT,
    Drawing,
    look,
)
from pipeline.measures.catalogue import Measure
from pipeline.words.change import ratio_name
from pipeline.words.numbers import figure, month, ratio, with_limits

LABEL_WIDTH = 30
LATE = 0.6  # after this share of the months, what was changed is written before its line
STRIP = 0.75  # with all that is drawn above this share of the highest, the axis begins higher
MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def change_figure(
    effect: ChangeEffect,
    measure: Measure,
    *,
    name: str,
) -> Drawing:
    """Draw the changed sites' rate by month, before and after.

    Parameters
    ----------
    effect : ChangeEffect
        The figures.
    measure : Measure
        The measure's card.
    name : str
        What was changed; written beside the line where it began.
    """
    plot = _plot(effect, measure, name)
    return Drawing(
        plot,
        title=_title(effect, measure),
        caption=_caption(effect),
        alt=_alt(effect, measure, name),
        width_cm=CHART_CM[0],
        height_cm=CHART_CM[1],
    )


def _plot(effect: ChangeEffect, measure: Measure, name: str) -> ggplot:
    month = np.arange(len(effect.months))
    first = effect.months.index(effect.started_month)
    points = _points(effect)
    bottom, top = _ends(effect, points)
    is_late = first > LATE * len(month)
    plot = ggplot(points, aes("x", "y"))
    plot += geom_vline(xintercept=first - 0.5, color=CHANGE, size=0.5)
    plot += geom_point(color=POINT, size=1.6)
    plot += geom_segment(
        aes(x="x", xend="end", y="y", yend="y"),
        data=_averages(effect, first),
        color=CENTRE,
        size=0.6,
    )
    if effect.segmented is not None:
        plot = _add_trend(plot, effect, month, first)
    plot += annotate(
        "text",
        x=first - 0.8 if is_late else first - 0.2,
        y=top - 0.01 * (top - bottom),
        label=fill(name, LABEL_WIDTH),
        ha="right" if is_late else "left",
        va="top",
        size=LABEL_SIZE,
        color=CHANGE,
    )
    ticks = _ticks(effect.months)
    plot += scale_x_continuous(breaks=[at for at, _ in ticks], labels=[text for _, text in ticks])
    plot += scale_y_continuous(labels=plain)
    plot += coord_cartesian(xlim=(-0.8, len(month) - 0.2), ylim=(bottom, top), expand=False)
    plot += labs(x="", y=measure.unit.capitalize())
    return plot + look(legend_position="none")


def _points(effect: ChangeEffect) -> pd.DataFrame:
    rates = effect.monthly
    frame = pd.DataFrame({"x": np.arange(len(effect.months)), "y": rates.rate})
    return frame[rates.denominator > 0]


def _add_trend(plot: ggplot, effect: ChangeEffect, month: np.ndarray, first: int) -> ggplot:
    trend = effect.segmented
    assert trend is not None
    for side in (month < first, month >= first):
        frame = pd.DataFrame({"x": month[side], "y": trend.fitted[side]}).dropna()
        plot += geom_line(data=frame, color=INK, size=0.7)
    frame = pd.DataFrame({"x": month, "y": trend.unchanged})[month >= first].dropna()
    plot += geom_line(data=frame, color=LIMIT, size=0.5, linetype="dashed")
    return plot


def _averages(effect: ChangeEffect, first: int) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "x": [-0.4, first - 0.4],
            "end": [first - 0.6, len(effect.months) - 0.6],
            "y": [float(effect.before.rate), float(effect.after.rate)],
        }
    )


def _ends(effect: ChangeEffect, points: pd.DataFrame) -> tuple[float, float]:
    """Begin at nothing, unless that would press everything into a strip at the top."""
    drawn = [float(effect.before.rate), float(effect.after.rate), *points["y"]]
    if effect.segmented is not None:
        drawn += [
            float(np.nanmin(effect.segmented.fitted)),
            float(np.nanmax(effect.segmented.fitted)),
        ]
    low, high = float(np.nanmin(drawn)), float(np.nanmax(drawn))
    if low <= STRIP * high:
        return 0.0, 1.15 * high or 1.0
    return low - 0.25 * (high - low), high + 0.35 * (high - low)


def _ticks(months: Sequence[str]) -> list[tuple[int, str]]:
    """January and July, the year under January."""
    ticks = []
    for at, each in enumerate(months):
        year, number = each.split("-")
        if number in ("01", "07"):
            name = MONTH_NAMES[int(number) - 1]
            ticks.append((at, f"{name}\n{year}" if number == "01" else name))
    return ticks


def _title(effect: ChangeEffect, measure: Measure) -> str:
    before, after = figure(float(effect.before.rate)), figure(float(effect.after.rate))
    return f"{measure.title}: {before} {measure.unit} before, {after} after"


def _caption(effect: ChangeEffect) -> str:
    text = "Points: months; level lines: averages before and after"
    if effect.segmented is not None:
        text += "; dark: segmented regression; dashed: had the earlier trend gone on"
    if _ends(effect, _points(effect))[0] > 0:
        text += "; the axis does not begin at 0"
    return f"{text}.{_judged(effect)} An association, not a proof."


def _alt(effect: ChangeEffect, measure: Measure, name: str) -> str:
    return (
        f"{measure.title}, {measure.unit}, by month, before and after "
        f"{month(effect.started_month)} ({name}): {figure(float(effect.before.rate))} before, "
        f"{figure(float(effect.after.rate))} after."
        f"{_judged(effect)}"
    )


def _judged(effect: ChangeEffect) -> str:
    """Return the ratio that is judged; nothing where none is."""
    if effect.against_drift is None:
        return ""
    found, name = effect.against_drift.effect, ratio_name(effect)
    text = with_limits(found.ratio, found.lower, found.upper, ratio)
    beside = "against the other sites" if effect.controls else "against its own past"
    return f" The {name} {beside} is {text}."
