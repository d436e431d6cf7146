"""Baselines that leave no room for a change: no event, every one, or no variation at all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.analysis.charts.point_models import baseline_rate
from pipeline.analysis.charts.results import ControlChart, Floats, Ints


@dataclass(frozen=True)
class NoRoom:
    """Why no delay can be told.

    Attributes
    ----------
    why : str
        There is no point to judge; the baseline does not vary; every catheter had the
        event; none was without it; none had it.
    needed : int or None
        How many (with the event, or where every one had it without) would signal in a
        period like the last; None where no number would.
    """

    why: Literal["no_point", "no_variation", "every_gap_zero", "none_without", "no_event"]
    needed: int | None = None


def no_room(chart: ControlChart, last: Ints) -> NoRoom | None:
    """Return why no delay can be told; None where one can.

    Parameters
    ----------
    chart : ControlChart
    last : int array
        Points of the limits in force.
    """
    if last.size == 0:
        return NoRoom("no_point")
    rate, n = float(baseline_rate(chart)[last[-1]]), chart.denominator[last]
    if chart.model == "normal":
        return None if (chart.sigma[last] > 0).any() else NoRoom("no_variation")
    if chart.model == "geometric" and rate <= 0:
        return NoRoom("every_gap_zero")
    if chart.model == "binomial" and rate >= 1:
        shortfall = n * (1 - chart.lower[last] / chart.multiplier)
        return NoRoom("none_without", _needed(shortfall, n))
    if chart.model in {"binomial", "poisson"} and rate <= 0:
        events = n * chart.upper[last] / chart.multiplier
        return NoRoom("no_event", _needed(events, n))
    return None


def _needed(events: Floats, n: Floats) -> int | None:
    """Return how many in the last period would signal, where its limit can be passed."""
    needed = np.floor(events[-1] + 1e-9) + 1
    return int(needed) if np.isfinite(needed) and needed <= n[-1] else None
