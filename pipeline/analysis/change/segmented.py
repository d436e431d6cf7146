"""A series before and after a change: segmented regression, and difference in differences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pipeline.analysis.comparison.count_models import predict
from pipeline.analysis.comparison.glm import Glm, fit_glm
from pipeline.analysis.rates.intervals import TAIL
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEWEST_POINTS = 6  # on either side; common practice, no source: a trend needs as many


@dataclass(frozen=True)
class Effect:
    """A multiplicative effect (rate ratio, or odds ratio for a proportion) with limits."""

    ratio: float
    lower: float
    upper: float
    p_value: float


@dataclass(frozen=True)
class Segmented:
    """Level and slope of a series before and after a change.

    Attributes
    ----------
    level : Effect
        Step at the change, against where the earlier trend would have led.
    slope : Effect
        Change of the trend, a month.
    earlier_slope : Effect
        Trend before the change, a month.
    fitted, unchanged : float array, shape (months,)
        Fitted rate, and the rate had the earlier trend gone on, in the measure's
        unit; NaN in months left out.
    scale : float
        Quasi-likelihood factor by which variances were widened, at least 1.
    lag : int
        Months after the change that were left out.
    """

    level: Effect
    slope: Effect
    earlier_slope: Effect
    fitted: Floats
    unchanged: Floats
    scale: float
    lag: int


def segmented_regression(
    numerator: ArrayLike,
    denominator: ArrayLike,
    *,
    change: int,
    kind: Kind,
    multiplier: float = 100.0,
    lag: int = 0,
) -> Segmented | None:
    r"""Fit level and slope before and after a change.

    :math:`\log\mu_t` (logit for a proportion) is
    :math:`\beta_0 + \beta_1 t + \beta_2 a_t + \beta_3 a_t (t - c)` with
    :math:`a_t` one from the change at month :math:`c` on. Errors are
    quasi-likelihood: widened by Pearson's chi-square over its degrees of freedom
    where that exceeds one; limits use Student's t and take months as independent, so they
    are too narrow where months go together. They are printed with the trend; the verdict on
    a change uses none of them (`ChangeEffect.against_drift` does).

    Parameters
    ----------
    numerator, denominator : array_like, shape (months,)
        Months in order; one with no denominator is passed over.
    change : int
        Index of the first month of the change.
    kind : {"proportion", "rate"}
        The kind of the denominator.
    multiplier : float
        The measure's unit.
    lag : int
        Months from the change on to leave out while it was settling in.

    Returns
    -------
    Segmented or None
        None with fewer than six usable months on either side, or no event on
        either side (or, for a proportion, nothing else).

    References
    ----------
    Wagner and others 2002, J Clin Pharm Ther 27:299-309 (recalled, not retrieved).
    """
    y, n = np.asarray(numerator, float), np.asarray(denominator, float)
    month = np.arange(len(y))
    after = month >= change
    used = (n > 0) & ~(after & (month < change + lag))
    if not _is_enough(y[used], n[used], after[used], kind):
        return None
    design = np.column_stack([np.ones(len(y)), month - change, after, after * (month - change)])
    fit, scale = _quasi(y[used], n[used], design[used].astype(float), kind)
    effects = [_effect(fit, scale, k) for k in range(4)]
    fitted, unchanged = np.full(len(y), np.nan), np.full(len(y), np.nan)
    fitted[used] = predict(design[used], fit.coefficients, kind) * multiplier
    unchanged[used] = predict(design[used] * [1, 1, 0, 0], fit.coefficients, kind) * multiplier
    return Segmented(effects[2], effects[3], effects[1], fitted, unchanged, scale, lag)


def before_and_after(
    numerator: Floats, denominator: Floats, *, changed: Bools, after: Bools, kind: Kind
) -> tuple[NDArray[np.int64], Floats] | None:
    """Fit a level a site, a step for the time after, and one more at the sites that changed.

    Without other sites there is one step.

    Parameters
    ----------
    numerator, denominator : float array, shape (sites, times)
        Counts; nothing where a denominator is zero.
    changed : bool array, shape (sites,)
        Sites that made the change.
    after : bool array, shape (times,)
        Times since.
    kind : {"proportion", "rate"}
        The kind of the denominator.

    Returns
    -------
    tuple of int array, shape (known,), and float array, shape (known, times), or None
        Sites with events (and, for a proportion, something else), and their fitted rates;
        None where either kind of site has none before or after.
    """
    y, n = numerator, denominator
    kinds = [c for c in (~changed, changed) if c.any()]
    sides = [(c, a) for c in kinds for a in (~after, after)]
    if not all(_has_both(y[np.ix_(c, a)], n[np.ix_(c, a)], kind) for c, a in sides):
        return None
    known = np.flatnonzero([_has_both(*row, kind) for row in zip(y, n, strict=True)])
    site = np.repeat(np.eye(len(known)), len(after), axis=0)
    step = np.tile(after, len(known))
    own = step & np.repeat(changed[known], len(after))
    design = np.column_stack([site, own, *([step] if len(kinds) > 1 else [])]).astype(float)
    used = n[known].ravel() > 0
    fit = fit_glm(design[used], y[known].ravel()[used], n[known].ravel()[used], kind)
    return known, predict(design, fit.coefficients, kind).reshape(len(known), -1)


def _is_enough(y: Floats, n: Floats, after: Bools, kind: Kind) -> bool:
    sides = (after, ~after)
    return all(side.sum() >= FEWEST_POINTS and _has_both(y[side], n[side], kind) for side in sides)


def _has_both(y: Floats, n: Floats, kind: Kind) -> bool:
    """Say whether a side has a finite level: some events, and for a proportion something else."""
    return bool(y.sum() > 0 and (kind == "rate" or (n - y).sum() > 0))


def _quasi(y: Floats, n: Floats, design: Floats, kind: Kind) -> tuple[Glm, float]:
    """Fit a count model; also the factor that widens its variances."""
    fit = fit_glm(design, y, n, kind)
    return fit, max(1.0, fit.pearson / fit.spare) if fit.spare > 0 else 1.0


def _effect(fit: Glm, scale: float, k: int) -> Effect:
    estimate, error = float(fit.coefficients[k]), float(fit.errors[k]) * np.sqrt(scale)
    spare = max(float(fit.spare), 1.0)
    reach = error * special.stdtrit(spare, 1 - TAIL)
    p_value = 2 * special.stdtr(spare, -abs(estimate) / error) if error > 0 else float("nan")
    return Effect(
        float(np.exp(estimate)),
        float(np.exp(estimate - reach)),
        float(np.exp(estimate + reach)),
        float(p_value),
    )
