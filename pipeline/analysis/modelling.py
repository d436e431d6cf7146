"""From counts by covariate pattern to a fitted model, and what was left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.analysis.counts import Ints
from pipeline.analysis.cox import cox
from pipeline.analysis.fine_gray import fine_gray
from pipeline.analysis.models import (
    ALONE,
    CENSORED,
    OF_REASON,
    OTHER_REASON,
    Model,
    ModelData,
    ModelFit,
    NotEstimableError,
)
from pipeline.analysis.ph_checks import PhCheck, check_proportional_hazards
from pipeline.analysis.risks import Risk, absolute_risks, typical_children
from pipeline.analysis.terms import (
    EVENTS_PER_COEFFICIENT,
    Coding,
    aliased,
    as_text,
    code_terms,
    design,
)

HOURS, REASON, NUMBER, CHILD, CENSORING = "hours", "reason", "n", "child", "censoring_group"


@dataclass(frozen=True)
class LeftOut:
    """A term, or a level of one, that is not in the model, and why, as a sentence."""

    term: str
    level: str | None
    why: str


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
    episodes = int(rows[NUMBER].sum())
    choice = _choose(rows, list(dict.fromkeys(terms)), reason)
    kept = choice.rows
    missing = {t: int(rows.filter(pl.col(t).is_null())[NUMBER].sum()) for t in choice.terms}
    result = ModelResult(
        model=model,
        reason=reason,
        asked=tuple(terms),
        fit=None,
        left_out=tuple(choice.left_out),
        episodes=episodes,
        missing=episodes - int(rows.drop_nulls(choice.terms)[NUMBER].sum()),
        missing_by_term={term: n for term, n in missing.items() if n},
        check=None,
        risks=(),
    )
    if not choice.terms:
        return result
    try:
        return _fitted(result, kept, choice.terms, reason, hour=hour, level=level)
    except NotEstimableError as error:
        return replace(result, left_out=(*result.left_out, LeftOut("", None, str(error))))


@dataclass
class _Choice:
    rows: pl.DataFrame
    terms: list[str]
    left_out: list[LeftOut]


def _choose(rows: pl.DataFrame, terms: list[str], reason: str) -> _Choice:
    """Take terms in order while the data can carry them."""
    choice = _Choice(rows, [], [])
    for term in terms:
        candidate = _with_levels_seen(rows, [*choice.terms, term], reason)
        why = _cannot(candidate, term, reason)
        if why is None:
            choice.terms.append(term)
        else:
            choice.left_out.append(LeftOut(term, None, why))
    final = _with_levels_seen(rows, choice.terms, reason)
    choice.rows = final.rows
    choice.left_out.extend(final.left_out)
    return choice


def _with_levels_seen(rows: pl.DataFrame, terms: list[str], reason: str) -> _Choice:
    """Complete cases, without the levels that have no removal for the reason."""
    left: list[LeftOut] = []
    kept = rows.drop_nulls(terms)
    changed = True
    while changed:
        changed = False
        for term in terms:
            if kept[term].dtype.is_numeric():
                continue
            text = as_text(kept[term])
            seen = set(text.filter(kept[REASON].eq_missing(reason)).to_list())
            for level in sorted(set(text.to_list()) - seen):
                left.append(LeftOut(term, level, _none_seen(term, level)))
                changed = True
            kept = kept.filter(text.is_in(sorted(seen)))
    return _Choice(kept, terms, left)


def _cannot(candidate: _Choice, term: str, reason: str) -> str | None:
    """Say why the last term of a candidate cannot be fitted, None where it can."""
    words = term.replace("_", " ")
    rows = candidate.rows
    events = int(rows.filter(pl.col(REASON) == reason)[NUMBER].sum())
    if events == 0:
        return f"{words} is not fitted: no catheter with it recorded was removed for this reason."
    patterns = _patterns(rows, candidate.terms)
    made = design(patterns, code_terms(patterns, candidate.terms))
    alias = set(aliased(made.matrix))
    own = [i for i, column in enumerate(made.columns) if column.term == term]
    if not own or np.ptp(made.matrix[:, own], axis=0).max(initial=0) == 0:
        return f"{words} is not fitted: it does not vary among the catheters analysed."
    if set(own) <= alias:
        return f"{words} is not fitted: it tells the same as the terms before it."
    allowed = events // EVENTS_PER_COEFFICIENT
    wanted = len(made.columns) - len(alias)
    if wanted > allowed:
        return (
            f"{words} is not fitted: {events} removals for this reason allow {allowed} "
            f"coefficients at {EVENTS_PER_COEFFICIENT} each, and the model would have {wanted}."
        )
    return None


def _fitted(
    result: ModelResult,
    rows: pl.DataFrame,
    terms: list[str],
    reason: str,
    *,
    hour: float,
    level: float,
) -> ModelResult:
    patterns = _patterns(rows, terms)
    codings, merged = _without_aliases(patterns, code_terms(patterns, terms))
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


def _patterns(rows: pl.DataFrame, terms: list[str]) -> pl.DataFrame:
    return rows.group_by(terms).agg(pl.col(NUMBER).sum()).sort(terms)


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
    left = [LeftOut(x.term, x.level, f"{x.label} is told by the terms before it.") for x in alias]
    return kept, left


def model_data(
    rows: pl.DataFrame, patterns: pl.DataFrame, codings: Sequence[Coding], reason: str
) -> ModelData:
    """Make a model's data from complete rows; columns as for :func:`fit_model`."""
    terms = [coding.term for coding in codings]
    numbered = patterns.select(terms).with_row_index("pattern")
    joined = rows.join(numbered, on=terms, how="left", maintain_order="left")
    outcome = np.where(
        rows[REASON].is_null().to_numpy(),
        CENSORED,
        np.where(rows[REASON].eq_missing(reason).to_numpy(), OF_REASON, OTHER_REASON),
    )
    return ModelData(
        design=design(patterns, codings),
        pattern=joined["pattern"].cast(pl.Int64).to_numpy(),
        hours=rows[HOURS].cast(pl.Float64).to_numpy(),
        outcome=outcome.astype(np.int64),
        n=rows[NUMBER].cast(pl.Int64).to_numpy(),
        child=_numbers(rows, CHILD, ALONE),
        censoring_group=_numbers(rows, CENSORING, 0),
    )


def _numbers(rows: pl.DataFrame, column: str, absent: int) -> Ints:
    if column not in rows.columns:
        return np.full(rows.height, absent, np.int64)
    found: Ints = rows[column].cast(pl.Int64).fill_null(absent).to_numpy()
    return found


def _swapped(data: ModelData) -> ModelData:
    """Return the data with all other reasons as the reason."""
    outcome = np.select(
        [data.outcome == OF_REASON, data.outcome == OTHER_REASON],
        [OTHER_REASON, OF_REASON],
        CENSORED,
    )
    parts = (data.design, data.pattern, data.hours, outcome, data.n, data.child)
    return ModelData(*parts, data.censoring_group)


def _none_seen(term: str, level: str) -> str:
    return (
        f"{term.replace('_', ' ')} {level.replace('_', ' ')}: no catheter was removed for this "
        "reason, so a ratio cannot be given; these catheters are not in the model."
    )
