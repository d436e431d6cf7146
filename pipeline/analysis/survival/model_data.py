"""What the two regression models share: their data and their results."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from scipy import sparse, special

from pipeline.analysis.survival import curve_limits
from pipeline.analysis.survival.event_counts import Floats, Ints
from pipeline.analysis.survival.terms import Coefficient, Design

Model = Literal["cox", "finegray"]
CENSORED, OF_REASON, OTHER_REASON = 0, 1, 2
WHOLE = np.empty(0, np.int64)  # no cut: one stratum
ALONE = -1  # a row whose episodes are each the only one of their child


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
    stratum : int array, shape (r,), optional
        From 0: its catheters are compared with one another alone (Cox). None for one stratum.
    goes_on : bool
        Whether the event comes back (Cox): its rows are events, and each episode has another
        row where its follow-up ends.
    """

    design: Design
    pattern: Ints
    hours: Floats
    outcome: Ints
    n: Ints
    child: Ints
    censoring_group: Ints
    stratum: Ints | None = None
    goes_on: bool = False

    @property
    def episodes(self) -> int:
        """Episodes analysed."""
        return int(self.n[self.leaves].sum())

    @property
    def leaves(self) -> np.ndarray:
        """Whether the follow-up of each row's episodes ends with it, shape (r,)."""
        return (self.outcome != OF_REASON) | (not self.goes_on)

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
    def _cells(self) -> tuple[Floats, Ints, Ints]:
        hours, at = np.unique(self.hours, return_inverse=True)
        if self.stratum is None:
            return hours, at, WHOLE
        cells, at = np.unique(self.stratum * len(hours) + at, return_inverse=True)
        return hours[cells % len(hours)], at, np.flatnonzero(np.diff(cells // len(hours))) + 1

    @property
    def distinct_hours(self) -> Floats:
        """Hours at which anything happened, shape (m,), ascending within each stratum."""
        return self._cells[0]

    @property
    def at(self) -> Ints:
        """Index into `distinct_hours` of each row, shape (r,)."""
        return self._cells[1]

    @property
    def cuts(self) -> Ints:
        """Where in `distinct_hours` each stratum but the first begins."""
        return self._cells[2]

    @cached_property
    def strata_shares(self) -> Floats:
        """Share of the episodes in each stratum."""
        each = [float(part.sum()) for part in np.split(self.everyone.sum(axis=1), self.cuts)]
        return np.array(each) / sum(each)

    @cached_property
    def everyone(self) -> Any:
        """Episodes by last hour and pattern, a sparse (m, p) matrix."""
        return self.table(self.leaves)

    @cached_property
    def removed(self) -> Any:
        """Removals for the reason by hour and pattern, a sparse (m, p) matrix."""
        return self.table(self.outcome == OF_REASON)

    @cached_property
    def removed_at(self) -> Floats:
        """Removals for the reason at each hour, shape (m,)."""
        count: Floats = self.removed.sum(axis=1)
        return count

    @cached_property
    def centre(self) -> Floats:
        """Mean of the covariates over the episodes, shape (k,)."""
        weight = self.everyone.sum(axis=0)
        mean: Floats = weight @ self.design.matrix / weight.sum()
        return mean

    @cached_property
    def x(self) -> Floats:
        """Covariates less their mean, shape (p, k)."""
        centred: Floats = self.design.matrix - self.centre
        return centred

    def table(self, which: np.ndarray) -> Any:
        """Episodes by hour and pattern, a sparse (m, p) matrix, of the rows chosen."""
        shape = (len(self.distinct_hours), self.design.matrix.shape[0])
        values = self.n[which].astype(float)
        return sparse.csr_array((values, (self.at[which], self.pattern[which])), shape=shape)


@dataclass(frozen=True)
class Baseline:
    """Increments of the cumulative hazard at the covariates' `centre`, shape (m,).

    `variances` are those of the increments at fixed coefficients. Strata follow each
    other, cut at `cuts`, with `shares` of the episodes.
    """

    hours: Floats
    increments: Floats
    variances: Floats
    centre: Floats
    cuts: Ints
    shares: Floats

    def strata(self, hour: float) -> list[Ints]:
        """Return the indices up to an hour in each stratum."""
        parts = np.split(np.arange(len(self.hours)), self.cuts)
        return [part[self.hours[part] <= hour] for part in parts]


@dataclass(frozen=True)
class ModelFit:
    """A fitted model: hazard ratios with limits from errors clustered on the child.

    Arrays are of shape (k,), one element a coefficient; `covariance` is (k, k).
    """

    model: Model
    reason: str
    columns: tuple[Coefficient, ...]
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
        z = curve_limits.Z
        limit: Floats = np.exp(self.coefficients - z * self.se)
        return limit

    @property
    def upper(self) -> Floats:
        """Upper limits of the hazard ratios."""
        z = curve_limits.Z
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


def from_last(by_hour: Floats, cuts: Ints = WHOLE) -> Floats:
    """Sum from each hour to the last of its stratum, along the first axis: those at risk."""
    parts = [part[::-1].cumsum(axis=0)[::-1] for part in np.split(by_hour, cuts)]
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def from_first(by_hour: Floats, cuts: Ints = WHOLE) -> Floats:
    """Sum from the first hour of its stratum to each hour, along the first axis."""
    parts = [part.cumsum(axis=0) for part in np.split(by_hour, cuts)]
    return parts[0] if len(parts) == 1 else np.concatenate(parts)
