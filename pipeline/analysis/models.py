"""What the two regression models share: their data, their results, their iteration."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from scipy import sparse, special

from pipeline.analysis import curve_limits
from pipeline.analysis.counts import Floats, Ints
from pipeline.analysis.terms import Column, Design

Model = Literal["cox", "finegray"]
CENSORED, OF_REASON, OTHER_REASON = 0, 1, 2
ALONE = -1  # a row whose episodes are each the only one of their child

MAX_ITERATIONS = 40
MAX_HALVINGS = 30
DECREMENT = 1e-14  # gain in log-likelihood per event below which one more step is the last
LOST = 1e-14  # a step below this share of the log-likelihood is rounding
RUN_AWAY = 15.0  # log hazard ratio over a covariate's range: three million
SEPARATED = (
    "The likelihood rises without end: a covariate separates the catheters removed for this "
    "reason from all others."
)


class NotEstimableError(ValueError):
    """The data do not determine the model; the message says why, in a sentence."""


@dataclass(frozen=True)
class ModelData:
    """Episodes reduced to counts by covariate pattern, hour and outcome.

    Attributes
    ----------
    design : Design
        One row a covariate pattern.
    pattern : int array, shape (r,)
        Row of `design` of each count.
    hours : float array, shape (r,)
        Removal, or last hour known in place.
    outcome : int array, shape (r,)
        CENSORED, OF_REASON or OTHER_REASON.
    n : int array, shape (r,)
        Episodes counted.
    child : int array, shape (r,)
        Number of the child where it has several episodes, ALONE where each
        episode counted is its child's only one.
    censoring_group : int array, shape (r,)
        Stratum within which censoring is estimated (Fine-Gray), from 0.
    """

    design: Design
    pattern: Ints
    hours: Floats
    outcome: Ints
    n: Ints
    child: Ints
    censoring_group: Ints

    @property
    def episodes(self) -> int:
        """Episodes analysed."""
        return int(self.n.sum())

    @property
    def events(self) -> int:
        """Removals for the reason."""
        return int(self.n[self.outcome == OF_REASON].sum())

    @property
    def children(self) -> int:
        """Independent children."""
        several = len(np.unique(self.child[self.child != ALONE]))
        return int(self.n[self.child == ALONE].sum()) + several

    @cached_property
    def distinct_hours(self) -> Floats:
        """Hours at which anything happened, shape (m,), ascending."""
        return np.unique(self.hours)

    @cached_property
    def at(self) -> Ints:
        """Index into `distinct_hours` of each row, shape (r,)."""
        found: Ints = np.searchsorted(self.distinct_hours, self.hours)
        return found

    def table(self, which: np.ndarray | None = None) -> Any:
        """Episodes by hour and pattern, a sparse (m, p) matrix, of the rows chosen."""
        rows = slice(None) if which is None else which
        shape = (len(self.distinct_hours), self.design.matrix.shape[0])
        values = self.n[rows].astype(float)
        return sparse.csr_array((values, (self.at[rows], self.pattern[rows])), shape=shape)


@dataclass(frozen=True)
class Baseline:
    """Increments of the cumulative hazard at the covariates' `centre`, shape (m,).

    `variances` are those of the increments at fixed coefficients.
    """

    hours: Floats
    increments: Floats
    variances: Floats
    centre: Floats


@dataclass(frozen=True)
class ModelFit:
    """A fitted model: hazard ratios with limits from errors clustered on the child.

    Arrays are of shape (k,), one element a coefficient; `covariance` is (k, k).
    """

    model: Model
    reason: str
    columns: tuple[Column, ...]
    coefficients: Floats
    covariance: Floats
    model_based_se: Floats
    episodes: int
    events: int
    children: int
    log_likelihood: float
    null_log_likelihood: float
    iterations: int
    baseline: Baseline
    level: float

    @property
    def se(self) -> Floats:
        """Robust standard errors of the coefficients."""
        root: Floats = np.sqrt(np.diag(self.covariance))
        return root

    @property
    def hazard_ratio(self) -> Floats:
        """Hazard ratios (Fine-Gray: subdistribution hazard ratios)."""
        ratio: Floats = np.exp(self.coefficients)
        return ratio

    @property
    def lower(self) -> Floats:
        """Lower limits of the hazard ratios."""
        z = curve_limits.normal_quantile(self.level)
        limit: Floats = np.exp(self.coefficients - z * self.se)
        return limit

    @property
    def upper(self) -> Floats:
        """Upper limits of the hazard ratios."""
        z = curve_limits.normal_quantile(self.level)
        limit: Floats = np.exp(self.coefficients + z * self.se)
        return limit

    @property
    def p_value(self) -> Floats:
        """Two-sided Wald p-values."""
        p: Floats = 2 * special.ndtr(-np.abs(self.coefficients) / self.se)
        return p

    def relative_hazard(self, matrix: Floats) -> Floats:
        """Hazard of each pattern (rows of `matrix`) against the baseline's centre."""
        relative: Floats = np.exp((matrix - self.baseline.centre) @ self.coefficients)
        return relative


@dataclass(frozen=True)
class Point:
    """The log-likelihood and its derivatives at given coefficients."""

    log_likelihood: float
    score: Floats
    information: Floats


def maximise(evaluate: Callable[[Floats], Point], k: int, events: int) -> tuple[Floats, Point, int]:
    """Newton's method with step halving, until the last step changes nothing.

    Parameters
    ----------
    evaluate : callable
        Gives the `Point` at coefficients of shape (k,).
    k, events : int
        Number of coefficients and of events.

    Raises
    ------
    NotEstimableError
        If the information is singular, or the likelihood rises without end (a
        covariate separates the episodes with and without the event).
    """
    beta = np.zeros(k)
    point = evaluate(beta)
    for iteration in range(1, MAX_ITERATIONS + 1):
        step = solve(point.information, point.score)
        last = float(step @ point.score) <= DECREMENT * max(events, 1)
        beta_new, after = _uphill(evaluate, beta, step, point)
        if after is None:
            return beta, point, iteration
        beta, point = beta_new, after
        if last:
            return beta, point, iteration
    raise NotEstimableError(SEPARATED)


def refuse_separation(data: ModelData, beta: Floats) -> None:
    """Refuse coefficients that have run away along a flat likelihood.

    Raises
    ------
    NotEstimableError
        If a hazard would differ beyond belief over a covariate's own range.
    """
    if np.any(np.abs(beta) * np.ptp(data.design.matrix, axis=0) > RUN_AWAY):
        raise NotEstimableError(SEPARATED)


def solve(information: Floats, vector: Floats) -> Floats:
    """Solve a positive definite system, scaled first so that units do not matter."""
    scale = np.sqrt(np.diag(information))
    if not np.all(scale > 0):
        raise NotEstimableError("A covariate does not vary among the catheters at risk.")
    scaled = information / np.outer(scale, scale)
    if np.linalg.cond(scaled) > 1e13:
        raise NotEstimableError(
            "Covariates tell the same, or one separates the episodes completely."
        )
    right = vector / scale if vector.ndim == 1 else vector / scale[:, None]
    solved: Floats = np.linalg.solve(scaled, right)
    return solved / scale if vector.ndim == 1 else solved / scale[:, None]


def outer_sum(left: Floats, weight: Floats, right: Floats) -> Floats:
    """Sum over rows of weight times the outer product of two (m, k) arrays."""
    total: Floats = (left * weight[:, None]).T @ right
    return total


def _uphill(
    evaluate: Callable[[Floats], Point], beta: Floats, step: Floats, here: Point
) -> tuple[Floats, Point | None]:
    """Return the first halving of the step that does not lower the likelihood."""
    slack = LOST * abs(here.log_likelihood)
    for halving in range(MAX_HALVINGS):
        moved = beta + step / 2**halving
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            point = evaluate(moved)
        if point.log_likelihood >= here.log_likelihood - slack:
            return moved, point
    return beta, None
