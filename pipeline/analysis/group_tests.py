"""Tests between groups: log-rank for time in place, Gray's test for incidence.

Both work on counts at distinct hours with ties exact. A stratified test adds the
scores and variances of the strata before comparing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from pipeline.analysis import curve_limits
from pipeline.analysis.counts import EventCounts, Floats, Ints
from pipeline.analysis.incidence import incidence
from pipeline.analysis.time_in_place import time_in_place

Stratum = Sequence[EventCounts]


@dataclass(frozen=True)
class GroupTest:
    """A chi-square test between groups.

    `observed` and `expected` are the removals in each group (for Gray's test the
    removals for one reason); `chi_square` and `p_value` are NaN where there is
    nothing to compare. `note` then says why.
    """

    name: str
    reason: str | None
    groups: tuple[str, ...]
    observed: Floats
    expected: Floats
    chi_square: float
    degrees: int
    p_value: float
    note: str = ""


@dataclass(frozen=True)
class Differences:
    """Second group minus first at chosen hours, shape (k,), with normal limits.

    NaN beyond the shorter follow-up.
    """

    of: str
    first: str
    second: str
    hours: Floats
    difference: Floats
    se: Floats
    lower: Floats
    upper: Floats
    p_value: Floats


def log_rank(groups: Stratum) -> GroupTest:
    """Compare time in place between groups; removal for any reason is the event.

    Parameters
    ----------
    groups : sequence of EventCounts, length g

    References
    ----------
    Mantel 1966; Peto and Peto 1972, J R Stat Soc A 135:185-206; figures of SV-02
    in tests/reference.
    """
    return stratified_log_rank([groups])


def stratified_log_rank(strata: Sequence[Stratum]) -> GroupTest:
    """Log-rank test within strata (for example limbs), added over them.

    Parameters
    ----------
    strata : sequence of sequences of EventCounts
        Each stratum lists the same groups in the same order; a group without
        episodes in a stratum is an EventCounts of length zero.

    Raises
    ------
    ValueError
        If the strata do not list the same groups.
    """
    names = _names(strata)
    scores = _added([_log_rank_scores(_Table.of(stratum, None)) for stratum in strata])
    name = "log-rank" if len(strata) == 1 else "stratified log-rank"
    return _chi_square(name, None, names, scores)


def gray(groups: Stratum, reason: str) -> GroupTest:
    """Compare the incidence of one reason between groups, the other reasons competing.

    Parameters
    ----------
    groups : sequence of EventCounts, length g
    reason : str
        Code of the reason.

    Raises
    ------
    KeyError
        If the reason is not counted.

    References
    ----------
    Gray 1988, Ann Stat 16:1141-1154, with weight 1; figures of CR-02 and CR-03 in
    tests/reference.
    """
    return stratified_gray([groups], reason)


def stratified_gray(strata: Sequence[Stratum], reason: str) -> GroupTest:
    """Gray's test within strata, added over them; parameters as for the log-rank."""
    names = _names(strata)
    scores = _added([_gray_scores(_Table.of(stratum, reason)) for stratum in strata])
    name = "Gray" if len(strata) == 1 else "stratified Gray"
    return _chi_square(name, reason, names, scores)


def incidence_differences(
    first: EventCounts,
    second: EventCounts,
    reason: str,
    hours: ArrayLike = (24.0, 48.0, 72.0),
    *,
    level: float = 0.95,
) -> Differences:
    """Difference between two groups in the incidence of one reason at chosen hours."""
    column = first.index_of(reason)
    a, b = incidence(first, level=level).at(hours), incidence(second, level=level).at(hours)
    pairs = [(x.incidence[:, column], x.se[:, column]) for x in (a, b)]
    return _difference(reason, (first.group, second.group), a.hours, pairs, level)


def in_place_differences(
    first: EventCounts,
    second: EventCounts,
    hours: ArrayLike = (24.0, 48.0, 72.0),
    *,
    level: float = 0.95,
) -> Differences:
    """Difference between two groups in the proportion still in place at chosen hours."""
    asked = np.atleast_1d(np.asarray(hours, float))
    pairs = []
    for counts in (first, second):
        curve = time_in_place(counts, level=level)
        row = np.searchsorted(curve.hours, asked, "right")
        pairs.append((curve.at(asked).estimate, np.concatenate([[0.0], curve.se])[row]))
    return _difference("still in place", (first.group, second.group), asked, pairs, level)


def _difference(
    of: str,
    names: tuple[str, str],
    hours: Floats,
    pairs: list[tuple[Floats, Floats]],
    level: float,
) -> Differences:
    (p, se_p), (q, se_q) = pairs
    difference = q - p
    se = np.where(np.isnan(difference), np.nan, np.hypot(se_p, se_q))
    half = curve_limits.normal_quantile(level) * se
    safe = np.where(se > 0, se, np.nan)
    p_value = 2 * special.ndtr(-np.abs(difference) / safe)
    lower, upper = np.maximum(difference - half, -1), np.minimum(difference + half, 1)
    return Differences(of, *names, hours, difference, se, lower, upper, p_value)


def _names(strata: Sequence[Stratum]) -> tuple[str, ...]:
    if not strata or any(len(s) != len(strata[0]) for s in strata):
        raise ValueError("every stratum must list the same groups")
    names = tuple(counts.group for counts in strata[0])
    if any(tuple(counts.group for counts in stratum) != names for stratum in strata):
        raise ValueError("every stratum must list the same groups in the same order")
    return names


@dataclass(frozen=True)
class _Scores:
    """Observed and expected removals by group, shape (g,), and their covariance, (g, g)."""

    observed: Floats
    expected: Floats
    variance: Floats


def _added(parts: list[_Scores]) -> _Scores:
    return _Scores(
        np.sum([part.observed for part in parts], axis=0),
        np.sum([part.expected for part in parts], axis=0),
        np.sum([part.variance for part in parts], axis=0),
    )


def _chi_square(name: str, reason: str | None, groups: tuple[str, ...], of: _Scores) -> GroupTest:
    """Compare the scores with their variance, over the rank that it has."""
    scale = float(np.max(np.abs(np.diag(of.variance)), initial=0.0))
    degrees = int(np.linalg.matrix_rank(of.variance, tol=1e-9 * scale)) if scale > 0 else 0
    if degrees == 0:
        note = "nothing to compare: fewer than two groups had catheters in place at a removal"
        nan = float("nan")
        return GroupTest(name, reason, groups, of.observed, of.expected, nan, 0, nan, note)
    score = of.observed - of.expected
    inverse = np.linalg.pinv(of.variance, rcond=1e-9, hermitian=True)
    statistic = float(score @ inverse @ score)
    p_value = float(special.chdtrc(degrees, statistic))
    return GroupTest(name, reason, groups, of.observed, of.expected, statistic, degrees, p_value)


@dataclass(frozen=True)
class _Table:
    """Groups on one grid of hours: at risk, removed for the reason and for others, (m, g)."""

    at_risk: Ints
    of_reason: Ints
    other: Ints

    @classmethod
    def of(cls, groups: Stratum, reason: str | None) -> _Table:
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


def _log_rank_scores(table: _Table) -> _Scores:
    """Observed and expected removals, and the hypergeometric covariance."""
    happened = table.other.sum(axis=1) > 0
    y, d = table.at_risk[happened].astype(float), table.other[happened]
    total, removed = y.sum(axis=1), d.sum(axis=1).astype(float)
    share = y / total[:, None]
    correction = np.where(total > 1, (total - removed) / np.maximum(total - 1, 1), 0.0)
    weight = removed * correction
    variance = np.diag(weight @ share) - (share * weight[:, None]).T @ share
    return _Scores(d.sum(axis=0).astype(float), removed @ share, variance)


def _gray_scores(table: _Table) -> _Scores:
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
    return _Scores(d.sum(axis=0), expected, _gray_variance(y, d, other, curve))


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
