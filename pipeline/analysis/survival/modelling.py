"""From counts by covariate pattern to a fitted model, and what was left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import polars as pl

from pipeline.analysis.survival.absolute_risks import Risk, absolute_risks, typical_children
from pipeline.analysis.survival.cox import cox
from pipeline.analysis.survival.event_counts import Ints
from pipeline.analysis.survival.fine_gray import fine_gray
from pipeline.analysis.survival.model_data import (
    ALONE,
    CENSORED,
    OF_REASON,
    OTHER_REASON,
    Model,
    ModelData,
    ModelFit,
    NotEstimableError,
)
from pipeline.analysis.survival.ph_checks import PhCheck, check_proportional_hazards
from pipeline.analysis.survival.terms import (
    EVENTS_PER_COEFFICIENT,
    Coding,
    aliased,
    as_text,
    code_terms,
    design,
)

HOURS, REASON, NUMBER, CHILD, CENSORING = "hours", "reason", "n", "child", "censoring_group"
EVENTS = "events"


Why = Literal[
    "no_event",  # a term that no catheter removed for the reason has recorded
    "constant",  # a term that does not vary among the catheters analysed
    "one_level",  # a term of which one level alone has a removal for the reason
    "told_before",  # a term, or a level, that follows from the terms before it
    "few_events",  # a term that would leave fewer than 10 removals to a coefficient
    "level_without_event",  # a level without a removal for the reason
    "not_estimable",  # the whole model; `message` says why
]


@dataclass(frozen=True)
class LeftOut:
    """A term, or a level of one, that is not in the model, and why.

    Where events are too few, there are `events`, and the model would have `wanted`
    coefficients.
    """

    term: str
    level: str | None
    why: Why
    events: int = 0
    wanted: int = 0
    message: str = ""


@dataclass(frozen=True)
class ModelResult:
    """A model with what a reader needs to judge it.

    `fit`, `check` and `risks` are None or empty where nothing could be fitted;
    `left_out` then says why. `missing` counts episodes dropped because a term of the
    model is not recorded (complete cases), by term and in all.
    """

    model: Model
    reason: str
    asked: tuple[str, ...]
    fit: ModelFit | None
    left_out: tuple[LeftOut, ...]
    episodes: int
    missing: int
    missing_by_term: dict[str, int]
    check: PhCheck | None
    risks: tuple[Risk, ...]


def fit_model(
    rows: pl.DataFrame,
    terms: Sequence[str],
    reason: str,
    *,
    model: Model = "cox",
    hour: float = 72.0,
    level: float = 0.95,
) -> ModelResult:
    """Fit one reason on the terms that the data can carry.

    Terms are taken in the order given while there are 10 removals for the reason to
    each coefficient. Episodes with a missing value in a term of the model are dropped
    and counted (complete cases). A level without a removal for the reason has no
    estimable ratio: its episodes leave the model, which is the limit of the estimate.

    Parameters
    ----------
    rows : DataFrame
        Columns `hours`, `reason` (null: last known in place), `n`, the terms, and
        optionally `child` (number of a child with several episodes, else null) and
        `censoring_group` (within which censoring is estimated).
    terms : sequence of str
        Names of the terms.
    reason : str
        Code of the reason.
    model : {"cox", "finegray"}
    hour : float
        Hour of the absolute risks.

    Raises
    ------
    KeyError
        If a term is not a column of `rows`.
    """
    for term in terms:
        if term not in rows.columns:
            raise KeyError(term)
    asked = list(dict.fromkeys(terms))
    patterns = _patterns(rows, asked, reason)
    choice = _choose(patterns, asked)
    complete = patterns.drop_nulls(choice.terms)
    episodes = int(patterns[NUMBER].sum())
    missing = {t: int(patterns.filter(pl.col(t).is_null())[NUMBER].sum()) for t in choice.terms}
    result = ModelResult(
        model=model,
        reason=reason,
        asked=tuple(terms),
        fit=None,
        left_out=tuple(choice.left_out),
        episodes=episodes,
        missing=episodes - int(complete[NUMBER].sum()),
        missing_by_term={term: n for term, n in missing.items() if n},
        check=None,
        risks=(),
    )
    if not choice.terms:
        return result
    try:
        return _fitted(result, rows, choice, hour=hour, level=level)
    except NotEstimableError as error:
        return replace(result, left_out=(*result.left_out, _not_estimable(error)))


@dataclass
class _Choice:
    """Patterns that stay, with episodes and removals for the reason, and the terms."""

    patterns: pl.DataFrame
    terms: list[str]
    left_out: list[LeftOut]


def _patterns(rows: pl.DataFrame, terms: list[str], reason: str) -> pl.DataFrame:
    """Count episodes and removals for the reason by covariate pattern."""
    of_reason = pl.col(NUMBER).filter(pl.col(REASON).eq_missing(pl.lit(reason))).sum()
    return rows.group_by(terms).agg(pl.col(NUMBER).sum(), of_reason.alias(EVENTS)).sort(terms)


def _choose(patterns: pl.DataFrame, terms: list[str]) -> _Choice:
    """Take terms in order while the data can carry them."""
    kept: list[str] = []
    left_out: list[LeftOut] = []
    for term in terms:
        left = _cannot(_with_levels_seen(patterns, [*kept, term]), term)
        if left is None:
            kept.append(term)
        else:
            left_out.append(left)
    final = _with_levels_seen(patterns, kept)
    return _Choice(final.patterns, kept, [*left_out, *final.left_out])


def _with_levels_seen(patterns: pl.DataFrame, terms: list[str]) -> _Choice:
    """Complete cases, without the levels that have no removal for the reason."""
    left: list[LeftOut] = []
    kept = patterns.drop_nulls(terms)
    if terms:
        kept = kept.group_by(terms).agg(pl.col(NUMBER).sum(), pl.col(EVENTS).sum()).sort(terms)
    changed = True
    while changed:
        changed = False
        for term in terms:
            if kept[term].dtype.is_numeric():
                continue
            text = as_text(kept[term])
            seen = set(text.filter(kept[EVENTS] > 0).to_list())
            for level in sorted(set(text.to_list()) - seen):
                left.append(LeftOut(term, level, "level_without_event"))
                changed = True
            kept = kept.filter(text.is_in(sorted(seen)))
    return _Choice(kept, terms, left)


def _cannot(candidate: _Choice, term: str) -> LeftOut | None:
    """Say why the last term of a candidate cannot be fitted, None where it can."""
    events = int(candidate.patterns[EVENTS].sum())
    if events == 0:
        return LeftOut(term, None, "no_event")
    made = design(candidate.patterns, code_terms(candidate.patterns, candidate.terms))
    alias = set(aliased(made.matrix))
    own = [i for i, column in enumerate(made.columns) if column.term == term]
    if not own or np.ptp(made.matrix[:, own], axis=0).max(initial=0) == 0:
        others = any(left.term == term for left in candidate.left_out)
        return LeftOut(term, None, "one_level" if others else "constant")
    if set(own) <= alias:
        return LeftOut(term, None, "told_before")
    wanted = len(made.columns) - len(alias)
    if wanted > events // EVENTS_PER_COEFFICIENT:
        return LeftOut(term, None, "few_events", events, wanted)
    return None


def _not_estimable(error: NotEstimableError) -> LeftOut:
    return LeftOut("", None, "not_estimable", message=str(error))


def _fitted(
    result: ModelResult, rows: pl.DataFrame, choice: _Choice, *, hour: float, level: float
) -> ModelResult:
    patterns, reason = choice.patterns, result.reason
    codings, merged = _without_aliases(patterns, code_terms(patterns, choice.terms))
    result = replace(result, left_out=(*result.left_out, *merged))
    data = model_data(rows, patterns, codings, reason)
    children = typical_children(patterns, codings)
    if result.model == "finegray":
        fit = fine_gray(data, reason=reason, level=level)
        return replace(result, fit=fit, risks=absolute_risks(children, codings, fit, hour=hour))
    fit = cox(data, reason=reason, level=level)
    check = check_proportional_hazards(data, fit)
    risks: tuple[Risk, ...] = ()
    if np.any(data.outcome == OTHER_REASON):
        others = cox(_swapped(data), reason="other reasons", level=level)
        risks = absolute_risks(children, codings, fit, others, hour=hour)
    return replace(result, fit=fit, check=check, risks=risks)


def _without_aliases(
    patterns: pl.DataFrame, codings: Sequence[Coding]
) -> tuple[tuple[Coding, ...], list[LeftOut]]:
    """Merge with their reference the levels that the terms before them already tell."""
    made = design(patterns, codings)
    alias = [made.columns[i] for i in aliased(made.matrix)]
    merged = {c.term: frozenset(x.level for x in alias if x.term == c.term) for c in codings}
    kept = tuple(
        replace(c, merged=frozenset(level for level in merged[c.term] if level is not None))
        for c in codings
    )
    return kept, [LeftOut(x.term, x.level, "told_before") for x in alias]


def model_data(
    rows: pl.DataFrame, patterns: pl.DataFrame, codings: Sequence[Coding], reason: str
) -> ModelData:
    """Make a model's data from the rows of the patterns; columns as for :func:`fit_model`.

    Rows are put in one order, so that sums do not depend on the store's.
    """
    terms = [coding.term for coding in codings]
    outcome = (
        pl.when(pl.col(REASON).is_null())
        .then(CENSORED)
        .when(pl.col(REASON) == reason)
        .then(OF_REASON)
        .otherwise(OTHER_REASON)
    )
    absent = {CHILD: ALONE, CENSORING: 0}
    numbered = patterns.select(terms).with_row_index("pattern")
    kept = rows.join(numbered, on=terms, how="inner").select(
        pl.col("pattern").cast(pl.Int64),
        pl.col(HOURS).cast(pl.Float64),
        outcome.cast(pl.Int64).alias("outcome"),
        pl.col(NUMBER).cast(pl.Int64),
        *(
            pl.col(name).cast(pl.Int64).fill_null(value)
            if name in rows.columns
            else pl.lit(value, pl.Int64).alias(name)
            for name, value in absent.items()
        ),
    )
    pattern, hours, result, n, child, group = (column.to_numpy() for column in kept)
    _, hour = np.unique(hours, return_inverse=True)
    order = _one_order((pattern, hour, result, child, group))
    parts = (part[order] for part in (pattern, hours, result, n, child, group))
    return ModelData(design(patterns, codings), *parts)


def _one_order(keys: Sequence[Ints]) -> Ints:
    """Sort by whole numbers from -1 up, the first before the others: as one number a row."""
    one = np.zeros(len(keys[0]), np.int64)
    for key in keys:
        one = one * (int(key.max(initial=0)) + 2) + key + 1
    return np.argsort(one, kind="stable")


def _swapped(data: ModelData) -> ModelData:
    """Return the data with all other reasons as the reason."""
    outcome = np.select(
        [data.outcome == OF_REASON, data.outcome == OTHER_REASON],
        [OTHER_REASON, OF_REASON],
        CENSORED,
    )
    parts = (data.design, data.pattern, data.hours, outcome, data.n, data.child)
    return ModelData(*parts, data.censoring_group)
