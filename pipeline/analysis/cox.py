"""Cause-specific Cox regression on counts: exact Efron ties, errors clustered on the child."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.analysis.counts import Floats, Ints, sums_by
from pipeline.analysis.influence import Influence, clustered_covariance
from pipeline.analysis.models import (
    OF_REASON,
    Baseline,
    ModelData,
    ModelFit,
    NotEstimableError,
    Point,
    maximise,
    outer_sum,
    refuse_separation,
    solve,
)


def cox(data: ModelData, *, reason: str = "", level: float = 0.95) -> ModelFit:
    r"""Fit the hazard of removal for one reason; other reasons end follow-up.

    Efron's likelihood takes the d removals tied at an hour as leaving one after
    the other in any order: the l-th sees :math:`S_0 - (l/d) D_0`, with
    :math:`S_0` the summed hazards at risk and :math:`D_0` those of the tied. The
    number of tied removals is kept, so counts give the fit of the episodes.

    Parameters
    ----------
    data : ModelData
    reason : str
        Code of the reason, carried into the result.
    level : float
        Coverage of the limits.

    Raises
    ------
    NotEstimableError
        If there is no event, or the data do not determine the coefficients.

    References
    ----------
    Cox 1972, J R Stat Soc B 34:187-220; Efron 1977, J Am Stat Assoc 72:557-565;
    figures of SV-03 and CR-03 in tests/reference.
    """
    if data.events == 0:
        raise NotEstimableError("No catheter was removed for this reason.")
    likelihood = Likelihood.of(data)
    k = len(data.design.columns)
    null = likelihood.at(np.zeros(k))
    beta, point, iterations = maximise(likelihood.point, k, data.events)
    refuse_separation(data, beta)
    state = likelihood.at(beta)
    covariance = clustered_covariance(data, state.influence(), point.information)
    return ModelFit(
        model="cox",
        reason=reason,
        columns=data.design.columns,
        coefficients=beta,
        covariance=covariance,
        model_based_se=np.sqrt(np.diag(solve(point.information, np.eye(k)))),
        episodes=data.episodes,
        events=data.events,
        children=data.children,
        log_likelihood=point.log_likelihood,
        null_log_likelihood=null.log_likelihood,
        iterations=iterations,
        baseline=Baseline(data.distinct_hours, state.hazard, state.square, likelihood.centre),
        level=level,
    )


@dataclass(frozen=True)
class Likelihood:
    """What does not change from step to step.

    `everyone` and `removed` are episodes, and removals for the reason, by hour and
    pattern; `x` the centred covariates, (p, k); `tied` the hour of each removal and
    `fraction` its l/d, one element a removal.
    """

    data: ModelData
    x: Floats
    centre: Floats
    everyone: Any
    removed: Any
    d: Floats
    tied: Ints
    fraction: Floats

    @classmethod
    def of(cls, data: ModelData) -> Likelihood:
        """Prepare the tables of a fit."""
        everyone = data.table()
        removed = data.table(data.outcome == OF_REASON)
        weight = everyone.sum(axis=0)
        centre = weight @ data.design.matrix / weight.sum()
        d = removed.sum(axis=1)
        count = d.astype(np.int64)
        tied = np.repeat(np.arange(len(d)), count)
        order = np.arange(len(tied)) - np.repeat(np.cumsum(count) - count, count)
        fraction = order / np.maximum(d[tied], 1)
        return cls(data, data.design.matrix - centre, centre, everyone, removed, d, tied, fraction)

    def point(self, beta: Floats) -> Point:
        """Log-likelihood, score and information at `beta`."""
        state = self.at(beta)
        return Point(state.log_likelihood, state.score(), state.information())

    def at(self, beta: Floats) -> State:
        """Sum over the risk sets at `beta`."""
        relative = np.exp(self.x @ beta)
        weighted = self.x * relative[:, None]
        s0 = _from_last(self.everyone @ relative)
        d0 = self.removed @ relative
        left = s0[self.tied] - self.fraction * d0[self.tied]
        sums = self._efron_sums(1 / left)
        log_likelihood = float(self.removed.sum(axis=0) @ (self.x @ beta) - np.log(left).sum())
        return State(
            self,
            relative,
            _from_last(self.everyone @ weighted),
            self.removed @ weighted,
            log_likelihood,
            *sums,
        )

    def _efron_sums(self, u: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Sum over the tied removals of each hour u, f u, u², f u², f² u²."""
        f = self.fraction
        fu = f * u
        m = len(self.d)
        return (
            sums_by(self.tied, u, m),
            sums_by(self.tied, fu, m),
            sums_by(self.tied, u * u, m),
            sums_by(self.tied, fu * u, m),
            sums_by(self.tied, fu * fu, m),
        )


@dataclass(frozen=True)
class State:
    """Risk-set sums at given coefficients; `hazard` is the baseline's increment."""

    of: Likelihood
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
        observed: Floats = self.of.removed @ self.of.x
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
        exposed = self.of.everyone.T @ np.cumsum(g * self.hazard)
        exposed = self.relative * (exposed - self.of.removed.T @ (g * self.tied_hazard))
        second = outer_sum(self.of.x, exposed, self.of.x)
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
        mean = self.expected / np.maximum(self.of.d, 1)[:, None]
        pull = self.square[:, None] * self.s1 - self.tied_square[:, None] * self.d1
        tied_pull = self.tied_square[:, None] * self.s1 - self.tied_square_2[:, None] * self.d1
        carried = np.cumsum(pull, axis=0)
        exposed = np.cumsum(self.hazard)[data.at] - event * self.tied_hazard[data.at]
        return Influence(
            x=self.of.x,
            relative=self.relative,
            slot=2 * data.at + event.astype(np.int64),
            alpha=event - self.relative[data.pattern] * exposed,
            pull=_alternating(carried, carried - tied_pull),
            shift=_alternating(np.zeros_like(mean), -mean),
        )


def _alternating(without: Floats, with_event: Floats) -> Floats:
    """Interleave the rows of two (m, k) arrays, shape (2 m, k)."""
    return np.stack([without, with_event], axis=1).reshape(-1, without.shape[1])


def _from_last(by_hour: Floats) -> Floats:
    """Sum from each hour to the last: those still at risk."""
    return by_hour[::-1].cumsum(axis=0)[::-1]
