"""What a group's children would be expected to have, given what no team chooses.

A logistic or Poisson model of case mix, fitted on the other groups' children,
says how many events this group's children would have had in their hands. The
model works on counts by covariate pattern, so its cost does not grow with the
number of episodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.count_models import clustering, fit_model, predict, variance_per_unit
from pipeline.analysis.design import coded
from pipeline.analysis.pattern_counts import PatternCounts, added
from pipeline.analysis.rates import Kind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Everything that may be adjusted for, and why it is not the team's choice. What a
# team chooses to do better (dressing, glue, tunnelling, dose, pump, who places it,
# when it calls) must never be here: adjusting for it would hide its effect.
ADJUSTABLE = {
    "age_years": "a child's age is given",
    "limb": "the operation decides the limb",
    "nerve_target": "the operation decides the nerve",
    "planned_dwell_h": "the operation decides how long pain relief is needed",
    "surgeon_type": "the referral decides the kind of surgeon",
    "site": "the family's home decides the site",
}
NESTED = {"limb": "nerve_target"}  # each nerve belongs to one limb

EVENTS_PER_COEFFICIENT = 10  # common practice, no source: fewer are not fitted
MOST_ALONE = 10  # up to so many groups each is left out alone
FOLDS = 5  # with more of them
CALIBRATION_BINS = 10


@dataclass(frozen=True)
class Calibration:
    """Observed against expected in tenths of predicted risk, lowest first."""

    denominator: Floats
    observed: Floats
    expected: Floats


@dataclass(frozen=True)
class Expectation:
    """Observed and expected numbers of each group, in the order of its labels.

    Attributes
    ----------
    groups : tuple of str
        Labels.
    observed, denominator, expected : float array, shape (groups,)
        Events, what they are counted against, and the events expected from a
        model fitted without the group.
    variance : float array, shape (groups,)
        Variance of observed minus expected when the group does not differ: the
        chance in the events, times `dispersion`, and that in the expectation.
    reference_events : float array, shape (groups,)
        Events outside the group.
    worth : float array, shape (groups,)
        Events that would give an expected number as certain as this one: its
        square over its variance.
    terms : tuple of str
        Case-mix terms in the model.
    left_out : tuple of str
        Declared terms that the events were too few for.
    dispersion : float
        Variance of events over that of independent events, at least 1; above it
        when one episode has several.
    is_penalised : bool
        Whether a sparse level was held towards no effect in any of the fits.
    c_statistic : float
        Chance that an event had a higher predicted risk than a non-event of the
        same group (than a random unit of its exposure, for a rate); 0.5 when the
        model tells nothing.
    calibration : Calibration
        How predictions for groups outside the fit compare with what happened, each
        group's scaled to its own total: it judges the model, not the groups.
    """

    groups: tuple[str, ...]
    observed: Floats
    denominator: Floats
    expected: Floats
    variance: Floats
    reference_events: Floats
    worth: Floats
    terms: tuple[str, ...]
    left_out: tuple[str, ...]
    dispersion: float
    is_penalised: bool
    c_statistic: float
    calibration: Calibration


def expect(counts: PatternCounts, *, by: str, terms: Sequence[str], kind: Kind) -> Expectation:
    """Predict each group's numbers by a case-mix model of the other groups.

    With ten groups or fewer each is predicted by a model of all the others; with
    more, groups are dealt into five folds of like volume.

    Parameters
    ----------
    counts : PatternCounts
        With `by` and `terms` among its factors.
    by : str
        The factor whose groups are compared; left out of the terms.
    terms : sequence of str
        Declared case-mix terms, the most needed first; none for crude figures.
    kind : {"proportion", "rate"}
        Logistic, or Poisson with the denominator as exposure.

    Raises
    ------
    ValueError
        If a term is one that the team can choose, or there are not two groups.
    """
    check_terms(terms)
    groups = counts.levels[by]
    if len(groups) < 2:
        raise ValueError("a comparison needs two groups")
    wanted = [term for term in terms if term != by]
    kept, left_out = affordable(counts, wanted, kind)
    table = _tabulate(counts, by, kept)
    fits = _cross_fit(table, kind)
    dispersion = clustering(counts.sums, _by_pattern(table, fits)[table.pattern], kind)
    observed = table.events.sum(axis=1)
    expected = (table.units * fits.mean).sum(axis=1)
    return Expectation(
        groups=groups,
        observed=observed,
        denominator=table.units.sum(axis=1),
        expected=expected,
        worth=expected**2 / np.maximum(fits.error, 1e-300),
        variance=dispersion
        * ((table.units * variance_per_unit(fits.mean, kind)).sum(axis=1) + fits.error),
        reference_events=observed.sum() - observed,
        terms=tuple(kept),
        left_out=tuple(left_out),
        dispersion=dispersion,
        is_penalised=fits.is_penalised,
        c_statistic=_concordance(table, fits.mean, kind),
        calibration=_calibrate(_by_risk(table, fits.mean)),
    )


def check_terms(terms: Sequence[str]) -> None:
    """Refuse a term that is not in :data:`ADJUSTABLE`.

    Raises
    ------
    ValueError
        Naming the term.
    """
    for term in terms:
        if term not in ADJUSTABLE:
            raise ValueError(f"{term} is not adjusted for: only {', '.join(ADJUSTABLE)} are")


def affordable(
    counts: PatternCounts, terms: Sequence[str], kind: Kind
) -> tuple[list[str], list[str]]:
    """Split terms into those with ten events a coefficient, and those left out.

    Terms are taken in their order; a term with one level tells nothing and is
    dropped without a word, and a limb gives way to its nerves.
    """
    total = counts.sums
    events = total.numerator.sum()
    if kind == "proportion":
        events = min(events, total.denominator.sum() - events)
    kept: list[str] = []
    left_out = []
    for term in terms:
        if len(counts.levels[term]) < 2:
            continue
        tried = [t for t in kept if NESTED.get(t) != term] + [term]
        coefficients = 1 + sum(len(counts.levels[t]) - 1 for t in tried)
        if events >= EVENTS_PER_COEFFICIENT * coefficients:
            kept = tried
        else:
            left_out.append(term)
    return kept, left_out


@dataclass(frozen=True)
class _Table:
    """Events and units by group and covariate pattern, and the patterns' design."""

    events: Floats  # (groups, patterns)
    units: Floats  # (groups, patterns)
    design: Floats  # (patterns, coefficients)
    pattern: Ints  # (rows of the counts,)


@dataclass(frozen=True)
class _Fits:
    mean: Floats  # (groups, patterns): events a unit, by the model without the group
    error: Floats  # (groups,): variance of the expected number from the fit
    is_penalised: bool


def _tabulate(counts: PatternCounts, by: str, terms: Sequence[str]) -> _Table:
    patterns = coded(counts, terms)
    size = (len(counts.levels[by]), len(patterns.design))
    cell = counts.codes[by] * size[1] + patterns.pattern
    events, units = (
        added(weights, cell, size[0] * size[1]).reshape(size)
        for weights in (counts.sums.numerator, counts.sums.denominator)
    )
    return _Table(events, units, patterns.design, patterns.pattern)


def _cross_fit(table: _Table, kind: Kind) -> _Fits:
    whole_events, whole_units = table.events.sum(axis=0), table.units.sum(axis=0)
    mean, error = np.empty_like(table.units), np.empty(len(table.units))
    is_penalised, start = False, None
    for fold in _folds(table.units.sum(axis=1)):
        events = whole_events - table.events[fold].sum(axis=0)
        units = whole_units - table.units[fold].sum(axis=0)
        fit = fit_model(table.design, events, np.maximum(units, 0.0), kind, start=start)
        mean[fold] = predict(table.design, fit.coefficients, kind)
        slope = (table.units[fold] * variance_per_unit(mean[fold], kind)) @ table.design
        error[fold] = np.einsum("gi,ij,gj->g", slope, fit.covariance, slope)
        is_penalised |= fit.is_penalised
        start = None if fit.is_penalised else fit.coefficients
    return _Fits(mean, error, is_penalised)


def _folds(volume: Floats) -> list[Ints]:
    """Deal groups into folds of like volume; each its own where there are few."""
    count = len(volume) if len(volume) <= MOST_ALONE else FOLDS
    order = np.argsort(-volume, kind="stable")
    return [np.sort(order[k::count]) for k in range(count)]


def _by_pattern(table: _Table, fits: _Fits) -> Floats:
    """Average the folds' predictions for each pattern."""
    units = table.units.sum(axis=0)
    return (table.units * fits.mean).sum(axis=0) / np.where(units > 0, units, 1.0)


@dataclass(frozen=True)
class _ByRisk:
    """Units, events and expected events at each distinct predicted risk, ascending."""

    units: Floats
    events: Floats
    expected: Floats


def _by_risk(table: _Table, mean: Floats) -> _ByRisk:
    expected = (table.units * mean).sum(axis=1)
    scale = table.events.sum(axis=1) / np.where(expected > 0, expected, 1.0)
    own = mean * scale[:, None]
    _, rank = np.unique(np.round(own.ravel(), 12), return_inverse=True)
    parts = (table.units, table.events, table.units * own)
    return _ByRisk(*(added(weights.ravel(), rank) for weights in parts))


def _concordance(table: _Table, mean: Floats, kind: Kind) -> float:
    """Chance that an event outranks a non-event of its group by predicted risk, ties half."""
    order = np.argsort(mean, axis=1, kind="stable")
    events, units = (np.take_along_axis(a, order, axis=1) for a in (table.events, table.units))
    others = units - events if kind == "proportion" else units
    below = np.cumsum(others, axis=1) - others / 2
    pairs = float((events.sum(axis=1) * others.sum(axis=1)).sum())
    return float((events * below).sum()) / pairs if pairs > 0 else float("nan")


def _calibrate(risk: _ByRisk) -> Calibration:
    """Add risks up into bins of like volume."""
    middle = np.cumsum(risk.units) - risk.units / 2
    share = middle / max(risk.units.sum(), 1e-9)
    bins = np.minimum((share * CALIBRATION_BINS).astype(int), CALIBRATION_BINS - 1)
    units, events, expected = (
        added(weights, bins) for weights in (risk.units, risk.events, risk.expected)
    )
    filled = units > 0
    return Calibration(units[filled], events[filled], expected[filled])
