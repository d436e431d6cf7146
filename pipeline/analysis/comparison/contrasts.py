"""Two rates against each other: difference and ratio, crude and adjusted, with limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.comparison.case_mix import affordable, check_terms
from pipeline.analysis.comparison.count_models import (
    clustering,
    fit_counts,
    predict,
    variance_per_unit,
)
from pipeline.analysis.comparison.design import coded, with_columns, with_rows
from pipeline.analysis.comparison.glm import Design
from pipeline.analysis.comparison.pattern_counts import Floats, PatternCounts, added
from pipeline.analysis.rates import intervals
from pipeline.analysis.rates.rates import Kind


@dataclass(frozen=True)
class Contrast:
    """A second rate against a first: difference in the measure's unit, and ratio.

    A ratio or a limit that cannot be told is NaN or infinite, never left out.
    """

    difference: float
    difference_lower: float
    difference_upper: float
    ratio: float
    ratio_lower: float
    ratio_upper: float


def crude_contrast(
    first: tuple[float, float],
    second: tuple[float, float],
    *,
    kind: Kind,
    multiplier: float = 100.0,
    dispersion: float = 1.0,
) -> Contrast:
    r"""Contrast two rates, with limits that stay sensible where there are no events.

    The difference takes the limits of each rate (Wilson for a proportion, mid-P
    Poisson for a rate):
    :math:`\hat\delta - \sqrt{(\hat p_2 - l_2)^2 + (u_1 - \hat p_1)^2}` and its
    mirror image. The ratio of proportions has Donner and Zou's closed form from
    the same limits; that of rates comes from the mid-P limits of the second's
    share of all events.

    Parameters
    ----------
    first, second : tuple of float
        Numerator and denominator of each.
    kind : {"proportion", "rate"}
        The kind of the denominators.
    multiplier : float
        The measure's unit, for the difference.
    dispersion : float
        Events that come in clusters of this size count as one.

    References
    ----------
    Newcombe 1998, Stat Med 17:873-890, method 10; Donner and Zou 2012, Stat
    Methods Med Res 21:347-359 (formulas recalled, not retrieved).
    """
    count, size = np.array([first, second], float).T / dispersion
    method = intervals.wilson if kind == "proportion" else intervals.poisson_mid_p
    limits = method(count, size)
    with np.errstate(invalid="ignore", divide="ignore"):
        (p1, p2), (l1, l2), (u1, u2) = count / size, limits.lower, limits.upper
        difference = p2 - p1
        down, up = np.hypot(p2 - l2, u1 - p1), np.hypot(u2 - p2, p1 - l1)
        ratio = p2 / p1
        if kind == "proportion":
            lower, upper = _ratio_limits((p2, l2, u2), (p1, l1, u1))
        else:
            lower, upper = _rate_ratio_limits(count, size)
    return Contrast(
        float(difference * multiplier),
        float((difference - down) * multiplier),
        float((difference + up) * multiplier),
        float(ratio) if p1 > 0 else float("nan"),
        lower,
        upper,
    )


def _ratio_limits(
    top: tuple[float, float, float], bottom: tuple[float, float, float]
) -> tuple[float, float]:
    """Limits of top / bottom, each given as (estimate, lower, upper)."""
    (a, la, ua), (b, lb, ub) = top, bottom
    product = a * b

    def root(own: float, other: float) -> float:
        return float(np.sqrt(max(product**2 - own * other * (2 * a - own) * (2 * b - other), 0.0)))

    below, above = ub * (2 * b - ub), lb * (2 * b - lb)
    lower = (product - root(la, ub)) / below if below != 0 else la / (2 * b) if b > 0 else 0.0
    upper = (product + root(ua, lb)) / above if above > 0 else float("inf")
    return max(float(lower), 0.0), float(upper)


def _rate_ratio_limits(count: Floats, size: Floats) -> tuple[float, float]:
    """Limits of the second rate over the first, given the sum of their events."""
    share = intervals.binomial_mid_p(count[1], count.sum())
    with np.errstate(divide="ignore"):
        odds = [np.float64(p) / (1 - np.float64(p)) for p in (share.lower, share.upper)]
    return float(odds[0] * size[0] / size[1]), float(odds[1] * size[0] / size[1])


def adjusted_contrast(
    counts: PatternCounts,
    *,
    by: str,
    first: str,
    second: str,
    terms: Sequence[str],
    kind: Kind,
    multiplier: float = 100.0,
) -> Contrast | None:
    """Contrast two groups as if both had had everyone's case mix.

    A logistic (or Poisson) model of group and case mix predicts everyone's rate
    in either group; limits by the delta method, errors widened by clustering.

    Parameters
    ----------
    counts : PatternCounts
        With `by` (of the two labels) and `terms` among its factors.
    by, first, second : str
        The factor, and the two of its labels that are contrasted.
    terms : sequence of str
        Case-mix terms; those that the events are too few for are left out.
    kind, multiplier
        As for :func:`crude_contrast`.

    Returns
    -------
    Contrast or None
        None where no term can be fitted, so that nothing is adjusted.

    References
    ----------
    Lane and Nelder 1982, Biometrics 38:613-621, on averaging predictions
    (recalled, not retrieved).
    """
    check_terms(terms)
    kept, _ = affordable(counts, terms, kind)
    if not kept:
        return None
    table = coded(counts, kept)
    is_second = (counts.codes[by] == counts.levels[by].index(second)).astype(int)
    size = table.design.shape[0]
    cell = is_second * size + table.pattern
    events, units = (
        added(w, cell, 2 * size) for w in (counts.sums.numerator, counts.sums.denominator)
    )
    sides = [with_columns(table.design, np.full(size, is_after)) for is_after in (0.0, 1.0)]
    design = with_rows(*sides)
    fit = fit_counts(design, events, units, kind)
    own = predict(design, fit.coefficients, kind)[cell]
    widened = fit.covariance * clustering(counts.sums, own, kind)
    weight = units.reshape(2, size).sum(axis=0)
    mean, slope = _averaged(sides, weight / weight.sum(), fit.coefficients, kind)
    return _delta(mean, slope, widened, multiplier)


def _averaged(
    sides: Sequence[Design], weight: Floats, coefficients: Floats, kind: Kind
) -> tuple[Floats, Floats]:
    """Average prediction of either group, and its slope in the coefficients."""
    means, slopes = [], []
    for rows in sides:
        predicted = predict(rows, coefficients, kind)
        means.append(weight @ predicted)
        slopes.append((weight * variance_per_unit(predicted, kind)) @ rows)
    return np.array(means), np.array(slopes)


def _delta(mean: Floats, slope: Floats, covariance: Floats, multiplier: float) -> Contrast:
    z = float(special.ndtri(1 - intervals.TAIL))

    def reach(direction: Floats) -> float:
        return z * float(np.sqrt(direction @ covariance @ direction))

    difference, apart = mean[1] - mean[0], reach(slope[1] - slope[0])
    log_ratio = float(np.log(mean[1] / mean[0]))
    log_apart = reach(slope[1] / mean[1] - slope[0] / mean[0])
    return Contrast(
        float(difference) * multiplier,
        float(difference - apart) * multiplier,
        float(difference + apart) * multiplier,
        float(np.exp(log_ratio)),
        float(np.exp(log_ratio - log_apart)),
        float(np.exp(log_ratio + log_apart)),
    )
