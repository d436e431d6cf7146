"""Fine-Gray regression on counts: what share will come out for a reason, by covariates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.analysis.counts import Floats, sums_by
from pipeline.analysis.influence import Influence, clustered_covariance
from pipeline.analysis.models import (
    CENSORED,
    OF_REASON,
    OTHER_REASON,
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


def fine_gray(data: ModelData, *, reason: str = "", level: float = 0.95) -> ModelFit:
    r"""Fit the subdistribution hazard of one reason.

    A catheter removed for another reason at :math:`X` stays in the risk set with
    weight :math:`\hat G(t-) / \hat G(X-)`, the chance of still being followed,
    with :math:`\hat G` estimated within each censoring group. The risk sets are
    running sums, one scan back and one forward; no row is copied. Ties are
    Breslow's. The robust errors count the estimation of :math:`\hat G` and are
    clustered on the child.

    Parameters, errors
    ------------------
    As for :func:`pipeline.analysis.cox.cox`.

    References
    ----------
    Fine and Gray 1999, J Am Stat Assoc 94:496-509; figures of CR-02 and CR-03 in
    tests/reference.
    """
    if data.events == 0:
        raise NotEstimableError("No catheter was removed for this reason.")
    likelihood = Likelihood.of(data)
    k = len(data.design.columns)
    null = likelihood.at(np.zeros(k))
    beta, point, iterations = maximise(likelihood.point, k, data.events)
    refuse_separation(data, beta)
    state = likelihood.at(beta)
    return ModelFit(
        model="finegray",
        reason=reason,
        columns=data.design.columns,
        coefficients=beta,
        covariance=clustered_covariance(data, _influence(state), point.information),
        model_based_se=np.sqrt(np.diag(solve(point.information, np.eye(k)))),
        episodes=data.episodes,
        events=data.events,
        children=data.children,
        log_likelihood=point.log_likelihood,
        null_log_likelihood=null.log_likelihood,
        iterations=iterations,
        baseline=state.baseline(),
        level=level,
    )


@dataclass(frozen=True)
class Censoring:
    """One censoring group: arrays of shape (m,), `other` a sparse (m, p) matrix.

    `followed` is the chance of being followed to just before each hour, `divisor`
    the same where it is above zero, `censored`
    and `at_risk` the episodes censored at it and present before it, `other` those
    removed for another reason, by pattern.
    """

    followed: Floats
    divisor: Floats
    censored: Floats
    at_risk: Floats
    other: Any


@dataclass(frozen=True)
class Likelihood:
    """What does not change from step to step; names as in the Cox likelihood."""

    data: ModelData
    x: Floats
    centre: Floats
    everyone: Any
    removed: Any
    d: Floats
    groups: tuple[Censoring, ...]

    @classmethod
    def of(cls, data: ModelData) -> Likelihood:
        """Prepare the tables of a fit."""
        everyone = data.table()
        removed = data.table(data.outcome == OF_REASON)
        weight = everyone.sum(axis=0)
        centre = weight @ data.design.matrix / weight.sum()
        d = removed.sum(axis=1)
        labels = range(int(data.censoring_group.max(initial=0)) + 1)
        groups = tuple(_censoring(data, label) for label in labels)
        return cls(data, data.design.matrix - centre, centre, everyone, removed, d, groups)

    def point(self, beta: Floats) -> Point:
        """Log-likelihood, score and information at `beta`."""
        state = self.at(beta)
        return Point(state.log_likelihood, state.score(), state.information())

    def at(self, beta: Floats) -> State:
        """Sum over the weighted risk sets at `beta`."""
        relative = np.exp(self.x @ beta)
        weighted = self.x * relative[:, None]
        s0 = _from_last(self.everyone @ relative)
        s1 = _from_last(self.everyone @ weighted)
        for group in self.groups:
            s0 += group.followed * _before(group.other @ relative / group.divisor)
            kept = (group.other @ weighted) / group.divisor[:, None]
            s1 += group.followed[:, None] * _before(kept)
        log_s0 = np.log(np.where(self.d > 0, s0, 1.0))
        log_likelihood = float(self.removed.sum(axis=0) @ (self.x @ beta) - self.d @ log_s0)
        hazard = np.where(self.d > 0, self.d / s0, 0.0)
        return State(self, relative, s1 / s0[:, None], log_likelihood, hazard)


@dataclass(frozen=True)
class State:
    """Risk-set means, shape (m, k), and baseline increments, (m,), at given coefficients."""

    of: Likelihood
    relative: Floats
    mean: Floats
    log_likelihood: float
    hazard: Floats

    def baseline(self) -> Baseline:
        """Return the hazard at the covariates' centre."""
        spread = self.hazard**2 / np.maximum(self.of.d, 1)
        return Baseline(self.of.data.distinct_hours, self.hazard, spread, self.of.centre)

    def score(self) -> Floats:
        """Observed less expected covariates."""
        observed: Floats = self.of.removed.sum(axis=0) @ self.of.x
        return observed - self.of.d @ self.mean

    def information(self) -> Floats:
        """Second moments summed by pattern, less the outer products of the means."""
        exposed = self.of.everyone.T @ np.cumsum(self.hazard)
        for group in self.of.groups:
            later = _after(group.followed * self.hazard)
            exposed = exposed + group.other.T @ (later / group.divisor)
        second = outer_sum(self.of.x, self.relative * exposed, self.of.x)
        return second - outer_sum(self.mean, self.of.d, self.mean)


def _influence(state: State) -> Influence:
    """Return the influence of the score and of the estimated censoring.

    A slot is a censoring group, an hour and an outcome, in that order.
    """
    data, m = state.of.data, len(state.hazard)
    event = (data.outcome == OF_REASON).astype(float)
    parts = [_censoring_influence(state, group) for group in state.of.groups]
    later = np.stack([part[0] for part in parts])
    exposed = np.cumsum(state.hazard)[data.at]
    exposed += np.where(data.outcome == OTHER_REASON, later[data.censoring_group, data.at], 0.0)
    pulled = np.cumsum(state.hazard[:, None] * state.mean, axis=0)
    pull, shift = [], []
    for _, later_pull, carried, jump in parts:
        pull.append(np.stack([pulled, pulled, pulled + later_pull], axis=1))
        shift.append(np.stack([jump - carried, -carried - state.mean, -carried], axis=1))
    k = state.mean.shape[1]
    return Influence(
        x=state.of.x,
        relative=state.relative,
        slot=(data.censoring_group * m + data.at) * 3 + data.outcome,
        alpha=event - state.relative[data.pattern] * exposed,
        pull=np.stack(pull).reshape(-1, k),
        shift=np.stack(shift).reshape(-1, k),
    )


def _censoring_influence(state: State, group: Censoring) -> tuple[Floats, Floats, Floats, Floats]:
    """Sum later hazard and pull, carried and jump, for one censoring group."""
    still = group.followed
    weighted = state.of.x * state.relative[:, None]
    later = _after(still * state.hazard)
    later_pull = _after((still * state.hazard)[:, None] * state.mean)
    kept0 = _before(group.other @ state.relative / group.divisor)
    kept1 = _before((group.other @ weighted) / group.divisor[:, None])
    # How the score moves with the censoring hazard at each hour: by those removed before
    # it, through removals at or after it (the tie rule of the published errors).
    moved = kept1 * _from_last(still * state.hazard)[:, None]
    moved -= kept0[:, None] * _from_last((still * state.hazard)[:, None] * state.mean)
    present = np.maximum(group.at_risk, 1)
    jump = moved / present[:, None]
    carried = np.cumsum(jump * (group.censored / present)[:, None], axis=0)
    divisor = group.divisor
    return later / divisor, later_pull / divisor[:, None], carried, jump


def _censoring(data: ModelData, label: int) -> Censoring:
    mine = data.censoring_group == label
    m = len(data.distinct_hours)
    leaving = sums_by(data.at[mine], data.n[mine], m)
    lost = mine & (data.outcome == CENSORED)
    censored = sums_by(data.at[lost], data.n[lost], m)
    at_risk = _from_last(leaving)
    staying = np.where(at_risk > 0, 1 - censored / np.maximum(at_risk, 1), 1.0)
    curve = np.concatenate([[1.0], np.cumprod(staying)[:-1]])
    # Nobody of the group is removed after it reaches zero, so there any divisor will do.
    divisor = np.where(curve > 0, curve, 1.0)
    other = data.table(mine & (data.outcome == OTHER_REASON))
    return Censoring(curve, divisor, censored, at_risk, other)


def _from_last(by_hour: Floats) -> Floats:
    """Sum from each hour to the last: those still at risk."""
    return by_hour[::-1].cumsum(axis=0)[::-1]


def _before(by_hour: Floats) -> Floats:
    """Sum over earlier hours."""
    total: Floats = np.cumsum(by_hour, axis=0) - by_hour
    return total


def _after(by_hour: Floats) -> Floats:
    """Sum over later hours."""
    return _from_last(by_hour) - by_hour
