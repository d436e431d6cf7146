"""What a measure's children were expected to have, by a model of the baseline's case mix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.results import Flags, Floats, Ints
from pipeline.analysis.comparison.case_mix import affordable, check_terms
from pipeline.analysis.comparison.count_models import fit_counts, predict
from pipeline.analysis.comparison.design import coded, with_columns
from pipeline.analysis.comparison.glm import Design
from pipeline.analysis.comparison.pattern_counts import PatternCounts, added
from pipeline.analysis.rates.rates import Kind

MONTH = "month"


@dataclass(frozen=True)
class Fitted:
    """What each month's catheters had to be expected to bring, and the terms allowed for.

    `rate` has a value a month, NaN where there is no catheter.
    """

    rate: Floats
    terms: tuple[str, ...]


def fitted_risk(
    counts: PatternCounts,
    periods: Sequence[str],
    baseline: Flags,
    limit_set: Ints,
    *,
    terms: Sequence[str],
    kind: Kind,
) -> Fitted:
    """Fit a case-mix model to the baseline months and expect by it in every month.

    Each phase has a level of its own, so that in its baseline as many events are
    expected as there were.

    Parameters
    ----------
    counts : PatternCounts
        By ``month`` and the terms.
    periods : sequence of str, length k
        Months of the chart, in order.
    baseline : bool array, shape (k,)
        Months that the model is fitted to.
    limit_set : int array, shape (k,)
        Phase of each month.
    terms : sequence of str
        Declared case-mix terms, the most needed first.
    kind : {"proportion", "rate"}

    Raises
    ------
    ValueError
        If a term is one that the team can choose, or no baseline month has volume.
    """
    check_terms(terms)
    place = {month: i for i, month in enumerate(periods)}
    month = np.array([place.get(m, -1) for m in counts.levels[MONTH]], int)[counts.codes[MONTH]]
    seen = month >= 0
    in_baseline = seen & baseline[month]
    if not counts.sums.denominator[in_baseline].any():
        raise ValueError("no month of the baseline has a catheter")
    held = counts.having(MONTH, [m for i, m in enumerate(periods) if baseline[i]])
    kept, _ = affordable(held, [term for term in terms if term in counts.levels], kind)
    patterns = coded(counts, kept)
    key = patterns.pattern * (int(limit_set.max()) + 1) + limit_set[month]
    present, row = np.unique(key, return_inverse=True)
    design = _with_phases(patterns.design, present, int(limit_set.max()) + 1)
    events, units = (
        added(np.where(in_baseline, weights, 0.0), row, len(present))
        for weights in (counts.sums.numerator, counts.sums.denominator)
    )
    fit = fit_counts(design, events, units, kind)
    rate = predict(design, fit.coefficients, kind)[row]
    volume = counts.sums.denominator
    expected, volumes = (
        np.bincount(month[seen], weights[seen], len(periods)) for weights in (volume * rate, volume)
    )
    return Fitted(expected / np.where(volumes > 0, volumes, np.nan), tuple(kept))


def _with_phases(design: Design, present: Ints, phases: int) -> Design:
    """Put a column for each phase but the first beside the terms."""
    phase = present % phases
    columns = [(phase == each).astype(float) for each in np.unique(phase)[1:]]
    return with_columns(design[present // phases], *columns)
