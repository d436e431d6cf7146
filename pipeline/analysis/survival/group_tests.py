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

from pipeline.analysis.survival.event_counts import EventCounts, Floats
from pipeline.analysis.survival.group_scores import (
    GroupTable,
    Scores,
    Stratum,
    gray_scores,
    log_rank_scores,
)
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.time_in_place import time_in_place


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
    """Second group minus first at chosen hours, shape (k,), with limits.

    NaN beyond the shorter follow-up; `p_value` also where the error is nil.
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
    scores = _added([log_rank_scores(GroupTable.of(stratum, None)) for stratum in strata])
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
    scores = _added([gray_scores(GroupTable.of(stratum, reason)) for stratum in strata])
    name = "Gray" if len(strata) == 1 else "stratified Gray"
    return _chi_square(name, reason, names, scores)


def incidence_differences(
    first: EventCounts,
    second: EventCounts,
    reason: str,
    hours: ArrayLike = (24.0, 48.0, 72.0),
) -> Differences:
    """Difference between two groups in the incidence of one reason at chosen hours.

    Parameters
    ----------
    first, second : EventCounts
    reason : str
        Code of a reason that both list.
    hours : array_like, shape (k,)

    Raises
    ------
    KeyError
        If a group does not list the reason.

    References
    ----------
    Limits: Zou and Donner 2008, Stat Med 27:1693-1702 (recalled, not retrieved).
    """
    curves = []
    for counts in (first, second):
        at, j = incidence(counts).at(hours), counts.index_of(reason)
        curves.append(_Read(at.incidence[:, j], at.se[:, j], at.lower[:, j], at.upper[:, j]))
    return _difference(reason, (first.group, second.group), hours, curves)


def in_place_differences(
    first: EventCounts,
    second: EventCounts,
    hours: ArrayLike = (24.0, 48.0, 72.0),
) -> Differences:
    """Difference between two groups in the proportion still in place at chosen hours.

    Parameters, limits
    ------------------
    As for :func:`incidence_differences`.
    """
    curves = []
    for counts in (first, second):
        curve = time_in_place(counts)
        at = curve.at(hours)
        row = np.searchsorted(curve.hours, at.hours, "right")
        se = np.concatenate([[0.0], curve.se])[row]
        curves.append(_Read(at.estimate, se, at.lower, at.upper))
    return _difference("still in place", (first.group, second.group), hours, curves)


@dataclass(frozen=True)
class _Read:
    """A curve read at some hours, with its own limits, shape (k,)."""

    estimate: Floats
    se: Floats
    lower: Floats
    upper: Floats


def _difference(
    of: str, names: tuple[str, str], hours: ArrayLike, curves: list[_Read]
) -> Differences:
    """Subtract the first from the second.

    Each limit is as far from the difference as the limits of both curves on that side are
    from them, taken together: so it says something where nobody was removed, and the
    error of the difference would be nil.
    """
    p, q = curves
    difference = q.estimate - p.estimate
    se = np.where(np.isnan(difference), np.nan, np.hypot(p.se, q.se))
    p_value = 2 * special.ndtr(-np.abs(difference) / np.where(se > 0, se, np.nan))
    lower = difference - np.hypot(q.estimate - q.lower, p.upper - p.estimate)
    upper = difference + np.hypot(q.upper - q.estimate, p.estimate - p.lower)
    asked = np.atleast_1d(np.asarray(hours, float))
    return Differences(of, *names, asked, difference, se, lower, upper, p_value)


def _names(strata: Sequence[Stratum]) -> tuple[str, ...]:
    if not strata or any(len(s) != len(strata[0]) for s in strata):
        raise ValueError("every stratum must list the same groups")
    names = tuple(counts.group for counts in strata[0])
    if any(tuple(counts.group for counts in stratum) != names for stratum in strata):
        raise ValueError("every stratum must list the same groups in the same order")
    return names


def _added(parts: list[Scores]) -> Scores:
    return Scores(
        np.sum([part.observed for part in parts], axis=0),
        np.sum([part.expected for part in parts], axis=0),
        np.sum([part.variance for part in parts], axis=0),
    )


def _chi_square(name: str, reason: str | None, groups: tuple[str, ...], of: Scores) -> GroupTest:
    """Compare the scores with their variance, over the rank that it has."""
    scale = float(np.max(np.abs(np.diag(of.variance)), initial=0.0))
    degrees = int(np.linalg.matrix_rank(of.variance, tol=1e-9 * scale)) if scale > 0 else 0
    if degrees == 0:
        note = "nothing to compare: at no hour were some catheters of two groups out, and not all"
        nan = float("nan")
        return GroupTest(name, reason, groups, of.observed, of.expected, nan, 0, nan, note)
    score = of.observed - of.expected
    inverse = np.linalg.pinv(of.variance, rcond=1e-9, hermitian=True)
    statistic = float(score @ inverse @ score)
    p_value = float(special.chdtrc(degrees, statistic))
    return GroupTest(name, reason, groups, of.observed, of.expected, statistic, degrees, p_value)
