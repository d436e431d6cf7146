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

from pipeline.analysis.comparison.cross_fit import GroupPatterns, Prediction, tabulate
from pipeline.analysis.comparison.model_checks import Calibration, calibrate, concordance
from pipeline.analysis.comparison.ordinary_groups import Judged, spread_prior
from pipeline.analysis.comparison.pattern_counts import PatternCounts
from pipeline.analysis.comparison.reference_groups import settle
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

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
    judged : Judged
        How far each group is from an ordinary one: p-values, limits of the ratio.
    is_aside : bool array, shape (groups,)
        Groups too far from the rest to set what is expected of others.
    reference_events : float array, shape (groups,)
        Events of the groups that one is judged against.
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
    judged: Judged
    is_aside: Bools
    reference_events: Floats
    worth: Floats
    terms: tuple[str, ...]
    left_out: tuple[str, ...]
    dispersion: float
    is_penalised: bool
    c_statistic: float
    calibration: Calibration


def expect(
    counts: PatternCounts,
    *,
    by: str,
    terms: Sequence[str],
    kind: Kind,
    fewest_aside: int = 0,
    prior: Floats | None = None,
) -> Expectation:
    """Predict each group's numbers by a case-mix model of the other groups.

    Groups far from the rest set nobody's standard: see
    :func:`pipeline.analysis.reference.settle`.

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
    fewest_aside : int
        Episodes with an event (and, for a proportion, units without) below which a
        group is not set aside.
    prior : float array, optional
        Of the spread between ordinary groups: see
        :func:`pipeline.analysis.comparison.ordinary_groups.spread_prior`.

    Raises
    ------
    ValueError
        If a term is one that the team can choose, or there are not two groups.
    """
    check_terms(terms)
    groups = counts.levels[by]
    if len(groups) < 2:
        raise ValueError("a comparison needs two groups")
    kept, left_out = affordable(counts, [term for term in terms if term != by], kind)
    table = tabulate(counts, by, kept)
    found, judged, aside = settle(
        table,
        kind,
        _may_stand_aside(counts, by, kind, fewest_aside),
        spread_prior() if prior is None else prior,
    )
    return _expectation(table, kind, found, judged, aside, groups=groups, terms=(kept, left_out))


def _may_stand_aside(counts: PatternCounts, by: str, kind: Kind, fewest: int) -> Bools:
    """Keep groups whose few events could be worked out from what is left without them."""
    totals = counts.totals(by)
    enough: Bools = totals.children_with_event >= fewest
    if kind == "proportion":
        enough &= totals.denominator - totals.numerator >= fewest
        if np.all(totals.denominator == totals.episodes):
            enough &= totals.children - totals.children_with_event >= fewest
    return enough


def _expectation(
    table: GroupPatterns,
    kind: Kind,
    found: Prediction,
    judged: Judged,
    aside: Bools,
    *,
    groups: tuple[str, ...],
    terms: tuple[list[str], list[str]],
) -> Expectation:
    observed = table.events.sum(axis=1)
    in_reference = np.where(aside, 0.0, observed)
    return Expectation(
        groups=groups,
        observed=observed,
        denominator=table.units.sum(axis=1),
        expected=found.expected,
        variance=found.dispersion * (found.chance + found.error),
        judged=judged,
        is_aside=aside,
        reference_events=in_reference.sum() - in_reference,
        worth=found.expected**2 / np.maximum(found.error, 1e-300),
        terms=tuple(terms[0]),
        left_out=tuple(terms[1]),
        dispersion=found.dispersion,
        is_penalised=found.is_penalised,
        c_statistic=concordance(table, found.mean, kind),
        calibration=calibrate(table, found.mean),
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
