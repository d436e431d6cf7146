"""What each episode adds to a model's score, and the errors clustered on the child."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipeline.analysis.survival.event_counts import Floats, Ints, sums_by
from pipeline.analysis.survival.model_data import ALONE, ModelData, outer_sum, solve


@dataclass(frozen=True)
class Influence:
    r"""What one episode of each row adds to the score.

    The influence of a row of pattern p and slot s is
    :math:`\alpha\,x_p + w_p\,y_s + e_s`: a slot is an hour with an outcome (and a
    censoring group). So sums over rows need no array of rows by coefficients.

    Attributes
    ----------
    x : float array, shape (p, k)
        Centred covariates.
    relative : float array, shape (p,)
        w, the hazards relative to the centre.
    slot : int array, shape (r,)
    alpha : float array, shape (r,)
    pull, shift : float array, shape (s, k)
        y and e.
    """

    x: Floats
    relative: Floats
    slot: Ints
    alpha: Floats
    pull: Floats
    shift: Floats

    def of_rows(self, data: ModelData, rows: Ints) -> Floats:
        """Influence of one episode of each of `rows`, shape (len(rows), k)."""
        pattern, slot = data.pattern[rows], self.slot[rows]
        influence: Floats = self.x[pattern] * self.alpha[rows, None]
        influence += self.pull[slot] * self.relative[pattern, None]
        return influence + self.shift[slot]

    def squared(self, data: ModelData, rows: Ints) -> Floats:
        """Sum of the outer squares over the episodes of `rows`, shape (k, k)."""
        n, pattern, slot = data.n[rows].astype(float), data.pattern[rows], self.slot[rows]
        alpha, w = self.alpha[rows], self.relative[pattern]
        shape = (self.x.shape[0], self.pull.shape[0])
        table = sparse.csr_array((n * alpha, (pattern, slot)), shape=shape)
        beside = self.relative[:, None] * (table @ self.pull) + table @ self.shift
        cross = self.x.T @ beside
        slots = len(self.pull)
        mixed = outer_sum(self.pull, sums_by(slot, n * w, slots), self.shift)
        total: Floats = (
            outer_sum(self.x, sums_by(pattern, n * alpha**2, len(self.x)), self.x)
            + (cross + cross.T)
            + outer_sum(self.pull, sums_by(slot, n * w**2, slots), self.pull)
            + (mixed + mixed.T)
            + outer_sum(self.shift, sums_by(slot, n, slots), self.shift)
        )
        return total


def clustered_covariance(data: ModelData, influence: Influence, information: Floats) -> Floats:
    """Sandwich covariance of the coefficients, scores added within a child, (k, k).

    References
    ----------
    Lin and Wei 1989, J Am Stat Assoc 84:1074-1078; Lee, Wei and Amato 1992.
    """
    meat = influence.squared(data, np.flatnonzero(data.child == ALONE))
    rows = np.flatnonzero(data.child != ALONE)
    if len(rows):
        _, child = np.unique(data.child[rows], return_inverse=True)
        by_child = sparse.csr_array((data.n[rows].astype(float), (child, np.arange(len(rows)))))
        summed = by_child @ influence.of_rows(data, rows)
        meat = meat + summed.T @ summed
    inverse = solve(information, np.eye(information.shape[0]))
    covariance: Floats = inverse @ meat @ inverse
    return (covariance + covariance.T) / 2
