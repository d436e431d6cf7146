"""Fine-Gray regression on counts: what share will come out for a reason, by covariates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.analysis.survival.event_counts import Floats, sums_by
from pipeline.analysis.survival.fitting import fit
from pipeline.analysis.survival.influence import Influence
from pipeline.analysis.survival.model_data import (
    CENSORED,
    OF_REASON,
    OTHER_REASON,
    Baseline,
    ModelData,
    ModelFit,
    from_last,
    outer_sum,
)


def fine_gray(data: ModelData, *, reason: str = "") -> ModelFit:
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
    return fit(FineGrayLikelihood.of(data).at, data, model="finegray", reason=reason)


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
class FineGrayLikelihood:
    """What does not change from step to step."""

    data: ModelData
    groups: tuple[Censoring, ...]

    @classmethod
    def of(cls, data: ModelData) -> FineGrayLikelihood:
        """Estimate censoring in each of its groups."""
        labels = range(int(data.censoring_group.max(initial=0)) + 1)
        return cls(data, tuple(_censoring(data, label) for label in labels))

    def at(self, beta: Floats) -> FineGrayState:
        """Sum over the weighted risk sets at `beta`."""
        data, d = self.data, self.data.removed_at
        log_relative = data.x @ beta
        relative = np.exp(log_relative)
        weighted = np.column_stack([relative, data.x * relative[:, None]])
        present = from_last(data.everyone @ weighted)
        for group in self.groups:
            kept = group.other @ weighted / group.divisor[:, None]
            present += group.followed[:, None] * _before(kept)
        s0 = np.where(d > 0, present[:, 0], 1.0)
        log_likelihood = float(data.removed.sum(axis=0) @ log_relative - d @ np.log(s0))
        mean = present[:, 1:] / present[:, :1]
        return FineGrayState(self, relative, mean, log_likelihood, np.where(d > 0, d / s0, 0.0))


@dataclass(frozen=True)
class FineGrayState:
    """Risk-set means, shape (m, k), and baseline increments, (m,), at given coefficients."""

    of: FineGrayLikelihood
    relative: Floats
    mean: Floats
    log_likelihood: float
    hazard: Floats

    def baseline(self) -> Baseline:
        """Return the hazard at the covariates' centre."""
        data = self.of.data
        spread = self.hazard**2 / np.maximum(data.removed_at, 1)
        hazards = (data.distinct_hours, self.hazard, spread)
        return Baseline(*hazards, data.centre, data.cuts, data.strata_shares)

    def score(self) -> Floats:
        """Observed less expected covariates."""
        data = self.of.data
        observed: Floats = data.removed.sum(axis=0) @ data.x
        return observed - data.removed_at @ self.mean

    def information(self) -> Floats:
        """Second moments summed by pattern, less the outer products of the means."""
        data = self.of.data
        exposed = data.everyone.T @ np.cumsum(self.hazard)
        for group in self.of.groups:
            later = _after(group.followed * self.hazard)
            exposed = exposed + group.other.T @ (later / group.divisor)
        second = outer_sum(data.x, self.relative * exposed, data.x)
        return second - outer_sum(self.mean, data.removed_at, self.mean)

    def influence(self) -> Influence:
        """Return the influence of the score and of the estimated censoring."""
        return _influence(self)


def _influence(state: FineGrayState) -> Influence:
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
        x=data.x,
        relative=state.relative,
        slot=(data.censoring_group * m + data.at) * 3 + data.outcome,
        alpha=event - state.relative[data.pattern] * exposed,
        pull=np.stack(pull).reshape(-1, k),
        shift=np.stack(shift).reshape(-1, k),
    )


def _censoring_influence(
    state: FineGrayState, group: Censoring
) -> tuple[Floats, Floats, Floats, Floats]:
    """Sum later hazard and pull, carried and jump, for one censoring group."""
    still = group.followed
    weighted = state.of.data.x * state.relative[:, None]
    later = _after(still * state.hazard)
    later_pull = _after((still * state.hazard)[:, None] * state.mean)
    kept0 = _before(group.other @ state.relative / group.divisor)
    kept1 = _before((group.other @ weighted) / group.divisor[:, None])
    # How the score moves with the censoring hazard at each hour: by those removed before
    # it, through removals at or after it (the tie rule of the published errors).
    moved = kept1 * from_last(still * state.hazard)[:, None]
    moved -= kept0[:, None] * from_last((still * state.hazard)[:, None] * state.mean)
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
    at_risk = from_last(leaving)
    staying = np.where(at_risk > 0, 1 - censored / np.maximum(at_risk, 1), 1.0)
    curve = np.concatenate([[1.0], np.cumprod(staying)[:-1]])
    # Nobody of the group is removed after it reaches zero, so there any divisor will do.
    divisor = np.where(curve > 0, curve, 1.0)
    other = data.table(mine & (data.outcome == OTHER_REASON))
    return Censoring(curve, divisor, censored, at_risk, other)


def _before(by_hour: Floats) -> Floats:
    """Sum over earlier hours."""
    total: Floats = np.cumsum(by_hour, axis=0) - by_hour
    return total


def _after(by_hour: Floats) -> Floats:
    """Sum over later hours."""
    return from_last(by_hour) - by_hour
