"""Logistic and Poisson regression on counts by covariate pattern, sparse levels held back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.comparison.design import with_rows
from pipeline.analysis.comparison.glm import Design, cross, fit_glm, mean_and_slope
from pipeline.analysis.comparison.pattern_counts import Sums
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]

SPARSE_EVENTS = 5  # a level with fewer events or non-events threatens separation
RUNAWAY = 12.0  # a log odds or log rate ratio beyond this is on its way to infinity


@dataclass(frozen=True)
class CountFit:
    """Coefficients on the log or logit scale, intercept first, and their covariance."""

    coefficients: Floats
    covariance: Floats
    is_penalised: bool


def fit_counts(
    design: Design, events: Floats, units: Floats, kind: Kind, *, start: Floats | None = None
) -> CountFit:
    r"""Logistic or Poisson regression on counts by pattern.

    Where a level has fewer than five events (or non-events), or columns cannot
    be told apart, each coefficient but the intercept is given a log-F(1,1)
    penalty: half an event in one unit of a pattern that has that level alone.

    Parameters
    ----------
    design : float array or sparse csr_array, shape (patterns, coefficients)
        First column the intercept.
    events, units : float array, shape (patterns,)
        Events, and trials or exposure; patterns with none are passed over.
    kind : {"proportion", "rate"}
        Logistic or Poisson.
    start : float array, optional
        Coefficients to begin from.

    References
    ----------
    Greenland and Mansournia 2015, Stat Med 34:3133-3143 (log-F penalties by
    added records; recalled, not retrieved).
    """
    seen = units > 0
    X, y, d = design[seen], events[seen], units[seen]
    others = d - y if kind == "proportion" else y
    if y.sum() == 0 or others.sum() == 0:
        return _half_an_event(design.shape[1], y, d, kind)
    level_events = np.minimum(y @ X, others @ X)
    is_sparse = bool(np.any(level_events[1:] < SPARSE_EVENTS))
    if is_sparse or _rank(X, d) < X.shape[1]:
        return _penalised(X, y, d, kind)
    result = fit_glm(X, y, d, kind, start=start)
    # Levels may each have events and still be told apart perfectly in combination.
    if not np.all(np.abs(result.coefficients[1:]) < RUNAWAY):
        return _penalised(X, y, d, kind)
    return CountFit(result.coefficients, result.covariance, is_penalised=False)


def _rank(X: Design, d: Floats) -> int:
    """Return how many columns can be told apart, each scaled to one."""
    product = cross(X, d)
    scale = np.sqrt(np.diag(product))
    return int(np.linalg.matrix_rank(product / np.outer(scale, scale), hermitian=True))


def _penalised(X: Design, y: Floats, d: Floats, kind: Kind) -> CountFit:
    k = X.shape[1] - 1
    X = with_rows(X, np.eye(k, k + 1, 1))
    y = np.append(y, np.full(k, 0.5))
    d = np.append(d, np.full(k, 1.0 if kind == "proportion" else 0.5))
    result = fit_glm(X, y, d, kind)
    return CountFit(result.coefficients, result.covariance, is_penalised=True)


def _half_an_event(width: int, y: Floats, d: Floats, kind: Kind) -> CountFit:
    """Where the others had none (or all), half an event bounds what they could have had."""
    if kind == "proportion":
        units = d.sum() + 1.0
        p = (y.sum() + 0.5) / units
        level, variance = np.log(p / (1 - p)), 1 / (units * p * (1 - p))
    else:
        level, variance = np.log(0.5 / max(d.sum(), 1e-9)), 1 / 0.5
    coefficients, covariance = np.zeros(width), np.zeros((width, width))
    coefficients[0], covariance[0, 0] = level, variance
    return CountFit(coefficients, covariance, is_penalised=True)


def predict(design: Design, coefficients: Floats, kind: Kind) -> Floats:
    """Return the expected events a unit for each row of a design."""
    mean, _ = mean_and_slope(design @ coefficients, kind)
    return mean


def variance_per_unit(mean: Floats, kind: Kind) -> Floats:
    """Variance of the events of one unit; also the slope of the mean."""
    return mean * (1 - mean) if kind == "proportion" else mean


def clustering(sums: Sums, mean: Floats, kind: Kind) -> float:
    """Variance of the episodes' residuals over that of independent events, at least 1.

    `mean` is the expected number of events a unit for each row of `sums`. Above 1
    when one episode has several events, as when a leak is reported twice.
    """
    squares = (
        sums.numerator_squared - 2 * mean * sums.cross_product + mean**2 * sums.denominator_squared
    )
    independent = float((sums.denominator * variance_per_unit(mean, kind)).sum())
    return max(1.0, float(squares.sum()) / independent) if independent > 0 else 1.0
