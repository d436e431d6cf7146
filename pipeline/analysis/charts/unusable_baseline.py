"""Baselines that leave no room for a change: no event, every one, or no variation at all."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.point_models import baseline_rate
from pipeline.analysis.charts.results import ControlChart, Floats, Ints

NO_VARIATION = (
    "The baseline does not vary at all, so it cannot be told how soon a change would show."
)

NO_POINT = "There is no point to judge: silence means nothing."


def no_room(chart: ControlChart, last: Ints) -> str:
    """Return a sentence where no delay can be told, else nothing.

    Parameters
    ----------
    chart : ControlChart
    last : int array
        Points of the limits in force.
    """
    if last.size == 0:
        return NO_POINT
    rate, n = float(baseline_rate(chart)[last[-1]]), chart.denominator[last]
    if chart.model == "normal":
        return "" if (chart.sigma[last] > 0).any() else NO_VARIATION
    if chart.model == "geometric" and rate <= 0:
        return "Every catheter of the baseline had the event, so no more of them can be shown."
    if chart.model == "binomial" and rate >= 1:
        shortfall = n * (1 - chart.lower[last] / chart.multiplier)
        but = _but(shortfall, n)
        return f"None was without in the baseline, and twice or half of none is none{but}"
    if chart.model in {"binomial", "poisson"} and rate <= 0:
        events = n * chart.upper[last] / chart.multiplier
        return f"No event in the baseline, and twice or half of none is none{_but(events, n)}"
    return ""


def _but(events: Floats, n: Floats) -> str:
    """Say how many in the last period would signal, where it has a limit that can be passed."""
    needed = np.floor(events[-1] + 1e-9) + 1
    if not np.isfinite(needed) or needed > n[-1]:
        return "."
    return f"; {int(needed)} in one period like the last would signal."
