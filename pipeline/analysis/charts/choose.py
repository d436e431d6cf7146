"""Which chart is drawn, and why."""

from __future__ import annotations

from typing import Literal

import numpy as np

from pipeline.analysis.charts.laney import Dispersion, dispersion
from pipeline.analysis.charts.results import Choice, Floats
from pipeline.analysis.charts.stack import Stack

OVERDISPERSED = {"p": "p'", "u": "u'"}


def choose_kinds(stack: Stack, kind: str, z: Floats, *, forced: bool) -> list[tuple[str, Choice]]:
    """Choose a chart for each series from the measure's own and from its baseline.

    Parameters
    ----------
    stack : Stack
        The series.
    kind : str
        The chart on the measure's card, or the one asked for.
    z : float array, shape (points,)
        Standardised points by the ordinary limits; NaN where there is no sigma.
    forced : bool
        Take `kind` as it is.

    Returns
    -------
    list of (str, Choice), one a series
    """
    number = len(stack.counts)
    if forced or kind == "run":
        return [(kind, Choice("asked"))] * number
    enough = np.zeros(number, bool)
    enough[stack.set_series[stack.set_has_limits]] = True
    points = np.bincount(stack.series[stack.baseline], minlength=number).tolist()
    spread = _spread(stack, z)
    over = spread.over
    chosen = []
    for i in range(number):
        if not enough[i]:
            chosen.append(("run", Choice("short", points[i])))
        elif kind not in OVERDISPERSED:
            chosen.append((kind, Choice("fits", points[i])))
        else:
            figures = float(spread.chi_square[i]), int(spread.freedom[i]), float(spread.sigma_z[i])
            is_over = bool(over[i])
            why: Literal["overdispersed", "fits"] = "overdispersed" if is_over else "fits"
            drawn = OVERDISPERSED[kind] if is_over else kind
            chosen.append((drawn, Choice(why, points[i], *figures)))
    return chosen


def _spread(stack: Stack, z: Floats) -> Dispersion:
    """Pool the dispersion of each series over the limit sets that have limits."""
    keep = stack.baseline & np.isfinite(z) & stack.set_has_limits[stack.limit_set]
    return dispersion(z[keep], stack.limit_set[keep], stack.series[keep], len(stack.counts))
