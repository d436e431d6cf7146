"""Scores of groups and their covariances, the matter of the tests between groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.survival.event_counts import EventCounts, Floats, Ints

Stratum = Sequence[EventCounts]


@dataclass(frozen=True)
class Scores:
    """Observed and expected removals by group, shape (g,), and their covariance, (g, g)."""

    observed: Floats
    expected: Floats
    variance: Floats


@dataclass(frozen=True)
class GroupTable:
    """Groups on one grid of hours: at risk, removed for the reason and for others, (m, g)."""

    at_risk: Ints
    of_reason: Ints
    other: Ints

    @classmethod
    def of(cls, groups: Stratum, reason: str | None) -> GroupTable:
        """Put groups on one grid; without a reason every removal counts as other."""
        hours = np.unique(np.concatenate([counts.hours for counts in groups] or [np.empty(0)]))
        at_risk = [counts.at_risk_at(hours) for counts in groups]
        removed, chosen = [], []
        for counts in groups:
            row = np.searchsorted(hours, counts.hours)
            every, one = np.zeros((2, len(hours)), np.int64)
            every[row] = counts.removed_at
            if reason is not None:
                one[row] = counts.events[:, counts.index_of(reason)]
            removed.append(every)
            chosen.append(one)
        of_reason = np.column_stack(chosen)
        return cls(np.column_stack(at_risk), of_reason, np.column_stack(removed) - of_reason)


def log_rank_scores(table: GroupTable) -> Scores:
    """Observed and expected removals, and the hypergeometric covariance."""
    happened = table.other.sum(axis=1) > 0
    y, d = table.at_risk[happened].astype(float), table.other[happened]
    total, removed = y.sum(axis=1), d.sum(axis=1).astype(float)
    share = y / total[:, None]
    correction = np.where(total > 1, (total - removed) / np.maximum(total - 1, 1), 0.0)
    weight = removed * correction
    variance = np.diag(weight @ share) - (share * weight[:, None]).T @ share
    return Scores(d.sum(axis=0).astype(float), removed @ share, variance)


def gray_scores(table: GroupTable) -> Scores:
    r"""Observed and expected removals for the reason by group, and their covariance.

    Each group's risk set is :math:`Y_k (1 - F_k(t-)) / S_k(t-)`, catheters removed
    for other reasons still counting by their chance of being followed. The score
    is a sum of independent increments of the groups' removals for the reason (at
    the common subdistribution's rate) and for other reasons; its variance adds
    their squared coefficients, tied removals as a sample without replacement.
    """
    happened = (table.of_reason + table.other).sum(axis=1) > 0
    y = table.at_risk[happened].astype(float)
    d, other = table.of_reason[happened].astype(float), table.other[happened].astype(float)
    curve = _gray_curves(y, d, other)
    reason_total = d.sum(axis=1)
    risk = np.where(y > 0, y * (1 - curve.incidence_before) / curve.before, 0.0)
    all_risk = risk.sum(axis=1, keepdims=True)
    share = np.divide(risk, all_risk, out=np.zeros_like(risk), where=all_risk > 0)
    expected = reason_total @ share
    return Scores(d.sum(axis=0), expected, _gray_variance(y, d, other, curve))


@dataclass(frozen=True)
class _GrayCurves:
    """Curves just before and just after each hour; (m, g), `common` of shape (m,)."""

    before: Floats
    after: Floats
    incidence_before: Floats
    weight: Floats  # Y / S(t-), the catheters placed that a group's risk set stands for
    common_before: Floats
    common: Floats


def _gray_curves(y: Floats, d: Floats, other: Floats) -> _GrayCurves:
    present = y > 0
    safe = np.where(present, y, 1.0)
    after = np.cumprod(np.where(present, 1 - (d + other) / safe, 1.0), axis=0, dtype=float)
    start = np.ones((1, y.shape[1]))
    before = np.concatenate([start, after[:-1]])
    # A group whose last catheter is out has no risk set; any divisor will do.
    before = np.where(before > 0, before, 1.0)
    step = np.where(present, before * d / safe, 0.0)
    incidence_before = np.cumsum(step, axis=0) - step
    weight = np.where(present, y / before, 0.0)
    total = weight.sum(axis=1)
    common_step = np.divide(d.sum(axis=1), total, out=np.zeros(len(y)), where=total > 0)
    common = np.cumsum(common_step)
    return _GrayCurves(before, after, incidence_before, weight, common - common_step, common)


def _gray_variance(y: Floats, d: Floats, other: Floats, curve: _GrayCurves) -> Floats:
    """Covariance of the scores, shape (g, g)."""
    groups = y.shape[1]
    reason_total = d.sum(axis=1)
    total = curve.weight.sum(axis=1)
    share = curve.weight / total[:, None]
    # How group k's increment moves score i, less what the pooled estimate takes back.
    own = (
        np.eye(groups)[None] * curve.weight[:, :, None]
        - curve.weight[:, :, None] * share[:, None, :]
    )
    rate = reason_total / (total * (1 - curve.common_before))
    carried = np.cumsum(own * rate[:, None, None], axis=0)
    end = carried[-1] if len(carried) else np.zeros((groups, groups))
    left_over = np.divide(
        1 - curve.common[:, None], curve.after, out=np.zeros_like(y), where=curve.after > 0
    )
    present = y > 0
    variance = np.zeros((groups, groups))
    for k in range(groups):
        at = present[:, k] & (reason_total > 0)
        gain = 1 - left_over[at, k]
        spread = _tied(reason_total[at], total[at] * curve.before[at, k])
        spread *= curve.before[at, k] * reason_total[at] / (total[at] * y[at, k])
        moved = own[at][:, :, k] + gain[:, None] * (end[:, k] - carried[at][:, :, k])
        variance += (moved * spread[:, None]).T @ moved
        at = (curve.after[:, k] > 0) & (other[:, k] > 0)
        spread = _tied(other[at, k], y[at, k]) * curve.before[at, k] ** 2
        spread *= other[at, k] / y[at, k] ** 2
        moved = left_over[at, k][:, None] * (end[:, k] - carried[at][:, :, k])
        variance += (moved * spread[:, None]).T @ moved
    return variance


def _tied(removed: Floats, of: Floats) -> Floats:
    """Share of the variance that tied removals keep: 1 - (d - 1) / (n - 1)."""
    tied = removed > 1
    reduced = 1 - (removed - 1) / np.where(tied, of - 1, 1.0)
    kept: Floats = np.where(tied, reduced, 1.0)
    return kept
