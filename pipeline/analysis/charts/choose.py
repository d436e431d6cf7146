"""Which chart is drawn, and the sentence that says why."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.laney import Dispersion, dispersion
from pipeline.analysis.charts.phases import MINIMUM_POINTS
from pipeline.analysis.charts.results import PROPORTIONS, Floats
from pipeline.analysis.charts.stack import Stack

OVERDISPERSED = {"p": "p'", "u": "u'"}


def choose_kinds(
    stack: Stack, kind: str, z: Floats, *, forced: bool
) -> tuple[list[str], list[str]]:
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
    kinds, reasons : lists of str, one a series
    """
    number = len(stack.counts)
    if forced or kind == "run":
        return [kind] * number, [f"{kind} chart, as asked."] * number
    enough = np.zeros(number, bool)
    enough[stack.set_series[stack.set_has_limits]] = True
    spread = _spread(stack, z)
    over = spread.over if kind in OVERDISPERSED else np.zeros(number, bool)
    points = np.bincount(stack.series[stack.baseline], minlength=number)
    kinds, reasons = [], []
    for i in range(number):
        if not enough[i]:
            kinds.append("run")
            reasons.append(_too_short(int(points[i])))
        elif over[i]:
            kinds.append(OVERDISPERSED[kind])
            reasons.append(_overdispersed(OVERDISPERSED[kind], spread, i))
        else:
            kinds.append(kind)
            reasons.append(_ordinary(kind, spread, i))
    return kinds, reasons


def _spread(stack: Stack, z: Floats) -> Dispersion:
    """Pool the dispersion of each series over the limit sets that have limits."""
    keep = stack.baseline & np.isfinite(z) & stack.set_has_limits[stack.limit_set]
    return dispersion(z[keep], stack.limit_set[keep], stack.series[keep], len(stack.counts))


def _too_short(points: int) -> str:
    if points >= MINIMUM_POINTS:
        return f"Run chart: no phase has the {MINIMUM_POINTS} complete points that limits need."
    held = f"{points} complete point" + ("" if points == 1 else "s")
    return f"Run chart: {held}, and limits need {MINIMUM_POINTS}."


def _figures(spread: Dispersion, i: int) -> str:
    return (
        f"chi-square {spread.chi_square[i]:.1f} on {spread.freedom[i]} degrees of freedom, "
        f"sigma-z {spread.sigma_z[i]:.2f}"
    )


def _overdispersed(kind: str, spread: Dispersion, i: int) -> str:
    plain = "binomial" if kind in PROPORTIONS else "Poisson"
    return (
        f"{kind} chart (Laney): the baseline varies more than a {plain} chart allows "
        f"({_figures(spread, i)})."
    )


def _ordinary(kind: str, spread: Dispersion, i: int) -> str:
    if kind not in OVERDISPERSED or spread.freedom[i] < 1:
        return f"{kind} chart, as the measure's card says."
    return f"{kind} chart, as the measure's card says; not over-dispersed ({_figures(spread, i)})."
