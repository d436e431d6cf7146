"""Each group predicted by a case-mix model of other groups.

The model works on counts by covariate pattern, so its cost does not grow with the
number of episodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.analysis.comparison.count_models import (
    clustering,
    fit_counts,
    predict,
    variance_per_unit,
)
from pipeline.analysis.comparison.design import coded
from pipeline.analysis.comparison.glm import Design
from pipeline.analysis.comparison.pattern_counts import PatternCounts, Sums, added
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MOST_ALONE = 10  # up to so many groups each is left out alone
FOLDS = 5  # with more of them


@dataclass(frozen=True)
class GroupPatterns:
    """Events and units by group and covariate pattern, and the patterns' design."""

    events: Floats  # (groups, patterns)
    units: Floats  # (groups, patterns)
    design: Design  # (patterns, coefficients)
    group: Ints  # (rows of the counts,)
    pattern: Ints  # (rows of the counts,)
    sums: Sums  # (rows of the counts,)


@dataclass(frozen=True)
class Prediction:
    """What is expected of each group, by a model fitted without it.

    Attributes
    ----------
    mean : float array, shape (groups, patterns)
        Events a unit.
    expected, error : float array, shape (groups,)
        Expected events, and their variance from the fit.
    chance : float array, shape (groups,)
        Variance of the events if they were independent.
    dispersion : float
        Variance of events over that of independent events, at least 1.
    is_penalised : bool
        Whether a sparse level was held towards no effect in any of the fits.
    """

    mean: Floats
    expected: Floats
    error: Floats
    chance: Floats
    dispersion: float
    is_penalised: bool


def tabulate(counts: PatternCounts, by: str, terms: Sequence[str]) -> GroupPatterns:
    """Lay counts out by group and covariate pattern."""
    patterns = coded(counts, terms)
    size = (len(counts.levels[by]), patterns.design.shape[0])
    cell = counts.codes[by] * size[1] + patterns.pattern
    events, units = (
        added(weights, cell, size[0] * size[1]).reshape(size)
        for weights in (counts.sums.numerator, counts.sums.denominator)
    )
    return GroupPatterns(
        events, units, patterns.design, counts.codes[by], patterns.pattern, counts.sums
    )


def cross_fit(table: GroupPatterns, kind: Kind, aside: Bools) -> Prediction:
    """Predict each group by a model of the others that are not set aside.

    With ten groups or fewer each is predicted by a model of all the others; with
    more, groups are dealt into five folds of like volume.

    Parameters
    ----------
    table : GroupPatterns
        The counts.
    kind : {"proportion", "rate"}
        Logistic, or Poisson with the denominator as exposure.
    aside : bool array, shape (groups,)
        Groups that no other is judged against.
    """
    mean, error = np.empty_like(table.units), np.empty(len(table.units))
    is_penalised, start = False, None
    for fold in _folds(table.units.sum(axis=1)):
        kept = ~aside
        kept[fold] = False
        events, units = table.events[kept].sum(axis=0), table.units[kept].sum(axis=0)
        fit = fit_counts(table.design, events, units, kind, start=start)
        mean[fold] = predict(table.design, fit.coefficients, kind)
        slope = (table.units[fold] * variance_per_unit(mean[fold], kind)) @ table.design
        error[fold] = np.einsum("gi,ij,gj->g", slope, fit.covariance, slope)
        is_penalised |= fit.is_penalised
        start = None if fit.is_penalised else fit.coefficients
    clump = clustering(table.sums, _at_own_level(table, mean, kind), kind)
    expected = (table.units * mean).sum(axis=1)
    chance = (table.units * variance_per_unit(mean, kind)).sum(axis=1)
    return Prediction(mean, expected, error, chance, clump, is_penalised)


def _folds(volume: Floats) -> list[Ints]:
    """Deal groups into folds of like volume; each its own where there are few."""
    count = len(volume) if len(volume) <= MOST_ALONE else FOLDS
    order = np.argsort(-volume, kind="stable")
    return [np.sort(order[k::count]) for k in range(count)]


def _at_own_level(table: GroupPatterns, mean: Floats, kind: Kind) -> Floats:
    """Move each group's predictions to its own level, for every row of the counts.

    How far events cluster within an episode is no matter of how far groups differ.
    """
    events, units = table.events.sum(axis=1), table.units.sum(axis=1)
    expected = (table.units * mean).sum(axis=1)
    cell = mean[table.group, table.pattern]
    if kind == "rate":
        return cell * (events / np.where(expected > 0, expected, 1.0))[table.group]
    own = (events + 0.5) / (units + 1)  # finite where none or all have the event
    shift = special.logit(own) - special.logit(expected / units)
    moved: Floats = special.expit(special.logit(cell) + shift[table.group])
    return moved
