"""Logistic and Poisson regression by Newton's method, on dense or sparse designs.

With two hundred sites among the terms a design has a quarter of a million rows and
two hundred columns of which each row fills five: sparse, it is fitted in a second.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse, special

from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]
Design = Any  # a float array, or a scipy.sparse csr_array, of shape (rows, coefficients)

SETTLED = 1e-10  # a step below this in every coefficient is the last
MOST_STEPS = 100
MOST_HALVINGS = 30
RUN_AWAY = 30.0  # no rate is told apart from zero beyond this


@dataclass(frozen=True)
class Glm:
    """A fitted model.

    Attributes
    ----------
    coefficients : float array, shape (k,)
        On the log or logit scale.
    covariance : float array, shape (k, k)
        Inverse of the information; no scale is estimated.
    pearson : float
        Pearson's chi-square.
    spare : int
        Rows less coefficients.
    """

    coefficients: Floats
    covariance: Floats
    pearson: float
    spare: int

    @property
    def errors(self) -> Floats:
        """Standard errors of the coefficients."""
        found: Floats = np.sqrt(np.diag(self.covariance))
        return found


def fit_glm(X: Design, y: Floats, d: Floats, kind: Kind, *, start: Floats | None = None) -> Glm:
    r"""Fit events `y` in `d` trials (logit link) or exposure (log link).

    The link is the canonical one, so that Newton's steps are those of iteratively
    reweighted least squares; a step that lowers the likelihood is halved.

    Parameters
    ----------
    X : float array or sparse csr_array, shape (rows, coefficients)
        The design, intercept included.
    y, d : float array, shape (rows,)
        Events, and trials or exposure above zero.
    kind : {"proportion", "rate"}
        Logistic or Poisson.
    start : float array, optional
        Coefficients to begin from.

    References
    ----------
    McCullagh and Nelder 1989, Generalized Linear Models, chapter 2 (recalled, not
    retrieved).
    """
    beta = _begin(X, y, d, kind) if start is None else start
    reached = _likelihood(X @ beta, y, d, kind)
    for _ in range(MOST_STEPS):
        mean, slope = mean_and_slope(X @ beta, kind)
        step = inverse(cross(X, d * slope)) @ (X.T @ (y - d * mean))
        for halving in range(MOST_HALVINGS):
            tried = beta + step / 2**halving
            likelihood = _likelihood(X @ tried, y, d, kind)
            if likelihood >= reached - 1e-12 * abs(reached):
                break
        beta, reached = tried, likelihood
        if np.all(np.abs(step) <= SETTLED) or np.any(np.abs(beta) > RUN_AWAY):
            break
    mean, slope = mean_and_slope(X @ beta, kind)
    covariance = inverse(cross(X, d * slope))
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = np.where(d * slope > 0, (y - d * mean) ** 2 / (d * slope), 0.0)
    return Glm(beta, covariance, float(parts.sum()), X.shape[0] - X.shape[1])


def cross(X: Design, weight: Floats) -> Floats:
    """Return the weighted cross product of a design's columns."""
    if sparse.issparse(X):
        found: Floats = (X.T @ X.multiply(weight[:, None]).tocsr()).toarray()
        return found
    product: Floats = X.T @ (weight[:, None] * X)
    return product


def inverse(matrix: Floats) -> Floats:
    """Invert an information matrix, scaled first; what it does not tell stays zero."""
    root = np.sqrt(np.diag(matrix))
    scale = 1 / np.where(root > 0, root, 1.0)
    both = np.outer(scale, scale)
    found: Floats = both * np.linalg.pinv(matrix * both, hermitian=True)
    return found


def _begin(X: Design, y: Floats, d: Floats, kind: Kind) -> Floats:
    """Return the least-squares fit to the rows' own rates, drawn towards the common one."""
    common = y.sum() / d.sum()
    rate = (y + common) / (d + 1)
    if kind == "proportion":
        rate = np.clip(rate, 1e-6, 1 - 1e-6)
        eta, weight = special.logit(rate), d * rate * (1 - rate)
    else:
        rate = np.maximum(rate, 1e-9)
        eta, weight = np.log(rate), d * rate
    beta: Floats = inverse(cross(X, weight)) @ (X.T @ (weight * eta))
    return beta


def mean_and_slope(eta: Floats, kind: Kind) -> tuple[Floats, Floats]:
    """Return the expected events a unit, and their slope in the linear predictor."""
    if kind == "proportion":
        mean: Floats = special.expit(eta)
        return mean, mean * (1 - mean)
    with np.errstate(over="ignore"):
        rate: Floats = np.exp(eta)
    return rate, rate


def _likelihood(eta: Floats, y: Floats, d: Floats, kind: Kind) -> float:
    """Return the log-likelihood up to a constant."""
    with np.errstate(over="ignore", invalid="ignore"):
        total = np.logaddexp(0.0, eta) if kind == "proportion" else np.exp(eta)
        found = float(y @ eta - d @ total)
    return found if np.isfinite(found) else -np.inf
