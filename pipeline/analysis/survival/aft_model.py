"""Time to unplanned removal from intervals: terms chosen, families compared, hours won or lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.analysis.survival.absolute_risks import TypicalChild, child_design, typical_children
from pipeline.analysis.survival.aft import AftFit, IntervalData, fit_aft
from pipeline.analysis.survival.curve_limits import Z
from pipeline.analysis.survival.event_counts import Floats
from pipeline.analysis.survival.imputed_model import ImputedModel, impute_model, within_levels
from pipeline.analysis.survival.interval_censored import IntervalCounts, turnbull_curve
from pipeline.analysis.survival.model_data import ALONE, NotEstimableError
from pipeline.analysis.survival.term_choice import (
    NUMBER,
    REASON,
    LeftOut,
    TermChoice,
    choose_terms,
    patterns_of,
    without_aliases,
)
from pipeline.analysis.survival.terms import Coding, Design, code_terms, design

UNPLANNED = "unplanned"
AFTER, BEFORE, CHILD = "after_h", "before_h", "child"
NO_DESIGN = Design(np.empty((1, 0)), ())


@dataclass(frozen=True)
class AftHours:
    """Mean hours without unplanned removal, and how many more than the child compared with.

    The first child of a term is the one that the others are compared with.
    """

    child: TypicalChild
    hours: float
    more: float
    lower: float
    upper: float


@dataclass(frozen=True)
class AftCheck:
    """Still without unplanned removal at some hours, shape (k,), by law and without one."""

    at_h: Floats
    nonparametric: Floats
    by_family: dict[str, Floats]


@dataclass(frozen=True)
class AftResult:
    """Families fitted to time to unplanned removal, that of the least AIC first.

    `fits` is empty where nothing could be fitted; `left_out` then says why. `missing`
    counts episodes dropped for want of a term (complete cases); `imputed` is the first law
    fitted to all episodes, what is missing imputed.
    """

    asked: tuple[str, ...]
    fits: tuple[AftFit, ...]
    left_out: tuple[LeftOut, ...]
    missing: int
    until_h: float
    hours: tuple[AftHours, ...]
    check: AftCheck
    imputed: ImputedModel | None = None


def fit_aft_model(
    rows: pl.DataFrame, terms: Sequence[str], *, until_h: float, impute: int = 0
) -> AftResult:
    """Fit accelerated failure time to unplanned removal; a completed course ends follow-up.

    Planned removal makes a cliff at the planned end that no smooth law follows, so it
    censors. Terms are taken as for the hazard models.

    Parameters
    ----------
    rows : DataFrame
        Columns `after_h`, `before_h` (infinite where no unplanned removal is known),
        `reason` ("unplanned" or null), `n`, `child` (null for only ones) and the terms.
    terms : sequence of str
    until_h : float
        Hour that means are restricted to.
    impute : int
        Imputations with which to fit the law of the least AIC to all episodes as well.
    """
    asked = list(dict.fromkeys(terms))
    rows = rows.sort([AFTER, BEFORE, *asked, CHILD, NUMBER])
    patterns = patterns_of(rows, asked, UNPLANNED)
    choice = choose_terms(patterns, asked)
    missing = int(patterns[NUMBER].sum()) - int(patterns.drop_nulls(choice.terms)[NUMBER].sum())
    result = AftResult(
        tuple(terms), (), tuple(choice.left_out), missing, until_h, (), _check(rows, until_h)
    )
    if not choice.terms:
        return result
    try:
        return _fitted(result, rows, choice, impute=impute)
    except NotEstimableError as error:
        left = LeftOut("", None, "not_estimable", message=str(error))
        return replace(result, left_out=(*result.left_out, left))


def _fitted(result: AftResult, rows: pl.DataFrame, choice: TermChoice, *, impute: int) -> AftResult:
    codings, merged = without_aliases(choice.patterns, code_terms(choice.patterns, choice.terms))
    fits = fit_aft(_data_of(rows, choice.patterns, codings))
    if impute:
        result = replace(result, imputed=_imputed(rows, codings, fits[0].family, impute))
    children = typical_children(choice.patterns, codings)
    hours = _hours(fits[0], children, codings, result.until_h)
    return replace(result, fits=fits, left_out=(*result.left_out, *merged), hours=hours)


def _data_of(rows: pl.DataFrame, patterns: pl.DataFrame, codings: Sequence[Coding]) -> IntervalData:
    terms = [coding.term for coding in codings]
    numbered = patterns.select(terms).with_row_index("pattern")
    kept = rows.join(numbered, on=terms, how="inner", maintain_order="left")
    return _interval_data(kept, design(patterns, codings), kept["pattern"])


def _imputed(rows: pl.DataFrame, codings: Sequence[Coding], family: str, m: int) -> ImputedModel:
    terms = [coding.term for coding in codings]

    def estimate(completed: pl.DataFrame) -> tuple[Floats, Floats]:
        data = _data_of(completed, patterns_of(completed, terms, UNPLANNED), codings)
        fit = fit_aft(data, [family])[0]
        return fit.coefficients[1:-1], fit.se[1:-1] ** 2

    rows = within_levels(rows, codings)
    hours, kinds = rows[AFTER].cast(pl.Float64).to_numpy(), rows[REASON].is_not_null().to_numpy()
    columns = [column for coding in codings for column in coding.columns]
    return impute_model(rows, columns, estimate, (hours, kinds.astype(np.int64)), m=m)


def _interval_data(rows: pl.DataFrame, made: Design, pattern: pl.Series) -> IntervalData:
    return IntervalData(
        made,
        pattern.cast(pl.Int64).to_numpy(),
        rows[AFTER].cast(pl.Float64).to_numpy(),
        rows[BEFORE].cast(pl.Float64).to_numpy(),
        rows[NUMBER].cast(pl.Int64).to_numpy(),
        rows[CHILD].cast(pl.Int64).fill_null(ALONE).to_numpy(),
    )


def _hours(
    fit: AftFit, children: Sequence[TypicalChild], codings: Sequence[Coding], until_h: float
) -> tuple[AftHours, ...]:
    mean, slope = fit.mean_hours(child_design(children, codings), until_h)
    first = {child.term: i for i, child in reversed(list(enumerate(children)))}
    found = []
    for i, child in enumerate(children):
        j = first[child.term]
        more, by = float(mean[i] - mean[j]), slope[i] - slope[j]
        half = Z * float(np.sqrt(by @ fit.covariance @ by))
        found.append(AftHours(child, float(mean[i]), more, more - half, more + half))
    return tuple(found)


def _check(rows: pl.DataFrame, until_h: float) -> AftCheck:
    """Lay each law, without covariates, beside the estimate that assumes none."""
    counted = rows.group_by(AFTER, BEFORE).agg(pl.col(NUMBER).sum()).sort(AFTER, BEFORE)
    hours = np.arange(12.0, until_h + 1, 12.0)
    columns = [counted[name].to_numpy() for name in (AFTER, BEFORE, NUMBER)]
    curve = turnbull_curve(IntervalCounts(*columns), hours, resamples=1).estimate
    alone = counted.with_columns(pl.lit(None, pl.Int64).alias(CHILD), pattern=pl.lit(0))
    data = _interval_data(alone, NO_DESIGN, alone["pattern"])
    try:
        fits = fit_aft(data) if data.events else ()
    except NotEstimableError:
        fits = ()
    return AftCheck(
        hours, curve, {fit.family: fit.still_in_place(np.empty((1, 0)), hours)[0] for fit in fits}
    )
