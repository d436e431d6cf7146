"""How many calls a family has made by each hour, a line a group."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.analysis.survival.recurrent import MeanCumulative
from pipeline.answers.calls import CallGroup
from pipeline.figures.hourly import EVERYONE, MOST_WITH_LIMITS, HourlyCurve, hourly_plot
from pipeline.figures.look import WIDE_CM, Drawing
from pipeline.words.numbers import figure, with_limits

HOURS = np.arange(0.0, 97.0)
READ_H = 72


def calls_figure(groups: Sequence[CallGroup]) -> Drawing:
    """Draw the mean cumulative number of calls to 96 h; limits for one or two groups."""
    few = len(groups) <= MOST_WITH_LIMITS
    limits = "; limits allow for families that call again." if few else "."
    curves = {group.label: group.curve_at(HOURS) for group in groups}
    plot = hourly_plot([_line(*one) for one in curves.items()], "Calls of a family so far, mean")
    return Drawing(
        plot,
        title=_title(curves),
        caption="Mean cumulative number of calls of a catheter that stays so long" + limits,
        alt=f"Mean calls by {READ_H} h: {'; '.join(_read(*one) for one in curves.items())}.",
        width_cm=WIDE_CM[0],
        height_cm=WIDE_CM[1],
    )


def _line(name: str, curve: MeanCumulative) -> HourlyCurve:
    told = np.isfinite(curve.mean)
    lower = np.where(np.isfinite(curve.lower), curve.lower, curve.mean)
    columns = (curve.hours, curve.mean, lower, curve.upper)
    return HourlyCurve(name, *(column[told] for column in columns))


def _read(name: str, curve: MeanCumulative) -> str:
    mean, lower, upper = (float(c[READ_H]) for c in (curve.mean, curve.lower, curve.upper))
    return f"{name or EVERYONE} {with_limits(mean, lower, upper)}"


def _title(curves: dict[str, MeanCumulative]) -> str:
    means = sorted((float(c.mean[READ_H]), n) for n, c in curves.items() if c.mean[READ_H] >= 0)
    if not means:
        return "Calls of families by hour"
    if len(means) == 1:
        return f"By {READ_H} h a family has called {figure(means[0][0])} times on average"
    (low, least), (high, most) = means[0], means[-1]
    return (
        f"By {READ_H} h a family has called {figure(low)} times ({least}) to {figure(high)} "
        f"({most}) on average"
    )
