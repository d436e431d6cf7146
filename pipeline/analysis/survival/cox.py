"""Cause-specific Cox regression on counts: exact Efron ties, errors clustered on the child."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.analysis.survival.event_counts import Floats, Ints, sums_by
from pipeline.analysis.survival.fitting import fit
from pipeline.analysis.survival.influence import Influence
from pipeline.analysis.survival.model_data import (
    OF_REASON,
    Baseline,
    ModelData,
    ModelFit,
    from_first,
    from_last,
    outer_sum,
)


def cox(data: ModelData, *, reason: str = "") -> ModelFit:
    r"""Fit the hazard of removal for one reason; other reasons end follow-up.

    Efron's likelihood takes the d removals tied at an hour as leaving one after
    the other in any order: the l-th sees :math:`S_0 - (l/d) D_0`, with
    :math:`S_0` the summed hazards at risk and :math:`D_0` those of the tied. The
    number of tied removals is kept, so counts give the fit of the episodes. Strata have
    a baseline each: their likelihoods are multiplied.

    Parameters
    ----------
    data : ModelData
    reason : str
        Code of the reason, carried into the result.

    Raises
    ------
    NotEstimableError
        If there is no event, or the data do not determine the coefficients.

    References
    ----------
    Cox 1972, J R Stat Soc B 34:187-220; Efron 1977, J Am Stat Assoc 72:557-565;
    figures of SV-03 and CR-03, and of R's coxph with strata, in tests/reference.
    """
    return fit(CoxLikelihood.of(data).at, data, model="cox", reason=reason)


@dataclass(frozen=True)
class CoxLikelihood:
    """What does not change from step to step, one element a removal.

    `tied` is its hour's index and `fraction` its l/d.
    """

    data: ModelData
    tied: Ints
    fraction: Floats

    @classmethod
    def of(cls, data: ModelData) -> CoxLikelihood:
        """Put the tied removals of each hour in a row."""
        count = data.removed_at.astype(np.int64)
        tied = np.repeat(np.arange(len(count)), count)
        order = np.arange(len(tied)) - np.repeat(np.cumsum(count) - count, count)
        return cls(data, tied, order / np.maximum(count[tied], 1))

    def at(self, beta: Floats) -> CoxState:
        """Sum over the risk sets at `beta`."""
        data = self.data
        log_relative = data.x @ beta
        relative = np.exp(log_relative)
        weighted = np.column_stack([relative, data.x * relative[:, None]])
        present = from_last(data.everyone @ weighted, data.cuts)
        leaving = data.removed @ weighted
        left = present[self.tied, 0] - self.fraction * leaving[self.tied, 0]
        log_likelihood = float(data.removed.sum(axis=0) @ log_relative - np.log(left).sum())
        sums = self._efron_sums(1 / left)
        return CoxState(self, relative, present[:, 1:], leaving[:, 1:], log_likelihood, *sums)

    def _efron_sums(self, u: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Sum over the tied removals of each hour u, f u, u², f u², f² u²."""
        f = self.fraction
        fu = f * u
        m = len(self.data.distinct_hours)
        return (
            sums_by(self.tied, u, m),
            sums_by(self.tied, fu, m),
            sums_by(self.tied, u * u, m),
            sums_by(self.tied, fu * u, m),
            sums_by(self.tied, fu * fu, m),
        )


@dataclass(frozen=True)
class CoxState:
    """Risk-set sums at given coefficients; `hazard` is the baseline's increment."""

    of: CoxLikelihood
    relative: Floats
    s1: Floats
    d1: Floats
    log_likelihood: float
    hazard: Floats
    tied_hazard: Floats
    square: Floats
    tied_square: Floats
    tied_square_2: Floats

    @property
    def expected(self) -> Floats:
        """Sum of covariate means over the removals of each hour, shape (m, k)."""
        total: Floats = self.hazard[:, None] * self.s1 - self.tied_hazard[:, None] * self.d1
        return total

    def score_at(self) -> Floats:
        """Observed less expected covariates at each hour, shape (m, k)."""
        observed: Floats = self.of.data.removed @ self.of.data.x
        return observed - self.expected

    def score(self, weight: Floats | None = None) -> Floats:
        """Score, each hour's part multiplied by `weight` (shape (m,)) if given."""
        parts = self.score_at()
        total: Floats = parts.sum(axis=0) if weight is None else weight @ parts
        return total

    def information(self, weight: Floats | None = None) -> Floats:
        """Information, each hour's part multiplied by `weight` (shape (m,)) if given.

        The second moments are summed by pattern, not by hour: a pattern's share is
        its hazard times what it was exposed to.
        """
        g = np.ones(len(self.hazard)) if weight is None else weight
        data = self.of.data
        exposed = data.everyone.T @ from_first(g * self.hazard, data.cuts)
        exposed = self.relative * (exposed - data.removed.T @ (g * self.tied_hazard))
        second = outer_sum(data.x, exposed, data.x)
        cross = outer_sum(self.s1, g * self.tied_square, self.d1)
        first = (
            outer_sum(self.s1, g * self.square, self.s1)
            - cross
            - cross.T
            + outer_sum(self.d1, g * self.tied_square_2, self.d1)
        )
        return second - first

    def influence(self) -> Influence:
        """Return the score residuals, tied removals as Efron's likelihood shares them."""
        data = self.of.data
        event = (data.outcome == OF_REASON).astype(float)
        mean = self.expected / np.maximum(data.removed_at, 1)[:, None]
        pull = self.square[:, None] * self.s1 - self.tied_square[:, None] * self.d1
        tied_pull = self.tied_square[:, None] * self.s1 - self.tied_square_2[:, None] * self.d1
        carried = from_first(pull, data.cuts)
        hazard = from_first(self.hazard, data.cuts)
        # An event that comes back is a row beside that which ends its episode's follow-up.
        exposed = data.leaves * hazard[data.at] - event * self.tied_hazard[data.at]
        return Influence(
            x=data.x,
            relative=self.relative,
            slot=2 * data.at + event.astype(np.int64),
            alpha=event - self.relative[data.pattern] * exposed,
            pull=_alternating(carried, (not data.goes_on) * carried - tied_pull),
            shift=_alternating(np.zeros_like(mean), -mean),
        )

    def baseline(self) -> Baseline:
        """Return the hazard at the covariates' centre."""
        data = self.of.data
        hazards = (data.distinct_hours, self.hazard, self.square)
        return Baseline(*hazards, data.centre, data.cuts, data.strata_shares)


def _alternating(without: Floats, with_event: Floats) -> Floats:
    """Interleave the rows of two (m, k) arrays, shape (2 m, k)."""
    return np.stack([without, with_event], axis=1).reshape(-1, without.shape[1])
