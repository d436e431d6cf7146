"""From counts by covariate pattern to a fitted model, and what was left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.analysis.survival.absolute_risks import AbsoluteRisk, absolute_risks, typical_children
from pipeline.analysis.survival.calibration import CalibrationGroup, calibration
from pipeline.analysis.survival.concordance import Concordance, removal_concordance
from pipeline.analysis.survival.cox import cox
from pipeline.analysis.survival.event_counts import Floats, Ints
from pipeline.analysis.survival.fine_gray import fine_gray
from pipeline.analysis.survival.frailty import Frailty, frailty_cox
from pipeline.analysis.survival.imputed_model import ImputedModel, impute_model, within_levels
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
from pipeline.analysis.survival.term_choice import (
    NUMBER,
    REASON,
    LeftOut,
    TermChoice,
    choose_terms,
    patterns_of,
    without_aliases,
)
from pipeline.analysis.survival.terms import Coding, as_text, code_terms, design

HOURS, CHILD, CENSORING, STRATUM = "hours", "child", "censoring_group", "stratum"


@dataclass(frozen=True)
class ModelResult:
    """A model with what a reader needs to judge it.

    `fit`, `check` and `risks` are None or empty where nothing could be fitted;
    `left_out` then says why. `missing` counts episodes dropped because a term of the
    model is not recorded (complete cases), by term and in all. `strata` is the column
    within whose levels catheters are compared. `imputed` is the same model of all episodes, what
    is missing imputed. `frailty` tells how much levels of a column differ at random; such a model
    has no check, concordance or calibration. Concordance (of a Cox model) and
    calibration are of the episodes fitted, risks and calibration by `hour`.
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
    risks: tuple[AbsoluteRisk, ...]
    strata: str | None = None
    hour: float = 72.0
    concordance: Concordance | None = None
    calibration: tuple[CalibrationGroup, ...] = ()
    imputed: ImputedModel | None = None
    frailty: Frailty | None = None


def fit_removal_model(
    rows: pl.DataFrame,
    terms: Sequence[str],
    reason: str,
    *,
    model: Model = "cox",
    strata: str | None = None,
    random: str | None = None,
    hour: float = 72.0,
    impute: int = 0,
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
    strata : str, optional
        Column of `rows`, no term: each of its levels has a Cox model's baseline of its own.
    random : str, optional
        Column of `rows`, no term: the hazards of its levels differ by a normal law.
    hour : float
        Hour of the absolute risks.
    impute : int
        Imputations with which to fit the model to all episodes as well; 0 for none.

    Raises
    ------
    KeyError
        If a term is not a column of `rows`.
    """
    for term in terms:
        if term not in rows.columns:
            raise KeyError(term)
    asked = list(dict.fromkeys(terms))
    unknown, grouping = 0, strata or random
    if grouping is not None:
        unknown = int(rows.filter(rows[grouping].is_null())[NUMBER].sum())
        rows = rows.drop_nulls(grouping)
    if strata is not None:
        rows = _numbered(rows, strata)
    patterns = patterns_of(rows, asked, reason)
    choice = choose_terms(patterns, asked)
    complete = patterns.drop_nulls(choice.terms)
    episodes = int(patterns[NUMBER].sum())
    missing = {t: int(patterns.filter(pl.col(t).is_null())[NUMBER].sum()) for t in choice.terms}
    missing |= {grouping: unknown} if grouping is not None else {}
    result = ModelResult(
        model=model,
        reason=reason,
        asked=tuple(terms),
        fit=None,
        left_out=tuple(choice.left_out),
        episodes=unknown + episodes,
        missing=unknown + episodes - int(complete[NUMBER].sum()),
        missing_by_term={term: n for term, n in missing.items() if n},
        check=None,
        risks=(),
        strata=strata,
        hour=hour,
    )
    if not choice.terms:
        return result
    try:
        if random is not None:
            return _random(result, rows, choice, random)
        return _fitted(result, rows, choice, hour=hour, impute=impute)
    except NotEstimableError as error:
        left = LeftOut("", None, "not_estimable", message=str(error))
        return replace(result, left_out=(*result.left_out, left))


def _fitted(
    result: ModelResult, rows: pl.DataFrame, choice: TermChoice, *, hour: float, impute: int
) -> ModelResult:
    patterns, reason = choice.patterns, result.reason
    codings, merged = without_aliases(patterns, code_terms(patterns, choice.terms))
    result = replace(result, left_out=(*result.left_out, *merged))
    data = model_data(rows, patterns, codings, reason)
    if impute:
        result = replace(result, imputed=_imputed(result, rows, codings, impute))
    children = typical_children(patterns, codings)
    if result.model == "finegray":
        fit = fine_gray(data, reason=reason)
        return replace(result, fit=fit, risks=absolute_risks(children, codings, fit, hour=hour))
    fit, others = cox(data, reason=reason), None
    risks: tuple[AbsoluteRisk, ...] = ()
    if np.any(data.outcome == OTHER_REASON):
        others = cox(_swapped(data), reason="other reasons")
        risks = absolute_risks(children, codings, fit, others, hour=hour)
    return replace(
        result,
        fit=fit,
        risks=risks,
        check=check_proportional_hazards(data, fit),
        concordance=removal_concordance(data, fit),
        calibration=calibration(data, fit, others, hour=hour),
    )


def _random(result: ModelResult, rows: pl.DataFrame, choice: TermChoice, term: str) -> ModelResult:
    codings, merged = without_aliases(choice.patterns, code_terms(choice.patterns, choice.terms))
    rows = within_levels(rows.drop_nulls(choice.terms), codings)
    rows = rows.with_columns(as_text(rows[term]).alias(term))
    levels = rows[term].unique().sort().to_list()
    # Without a reference level every level has an indicator.
    every = Coding(term, ("", *levels))
    patterns = patterns_of(rows, [*choice.terms, term], result.reason)
    data = model_data(rows, patterns, [*codings, every], result.reason)
    fit, frailty = frailty_cox(data, term, levels, reason=result.reason)
    risks: tuple[AbsoluteRisk, ...] = ()
    if np.any(data.outcome == OTHER_REASON):
        others, _ = frailty_cox(_swapped(data), term, levels)
        children = typical_children(choice.patterns, codings)
        risks = absolute_risks(children, codings, fit, others, hour=result.hour)
    left = (*result.left_out, *merged)
    return replace(result, fit=fit, frailty=frailty, left_out=left, risks=risks)


def _imputed(
    result: ModelResult, rows: pl.DataFrame, codings: Sequence[Coding], m: int
) -> ImputedModel:
    terms = [coding.term for coding in codings]

    def estimate(completed: pl.DataFrame) -> tuple[Floats, Floats]:
        patterns = patterns_of(completed, terms, result.reason)
        data = model_data(completed, patterns, codings, result.reason)
        fit = (fine_gray if result.model == "finegray" else cox)(data)
        return fit.coefficients, fit.se**2

    rows = within_levels(rows, codings).sort(rows.columns)
    of_reason = (rows[REASON] == result.reason).fill_null(False).to_numpy()
    kinds = np.select([rows[REASON].is_null().to_numpy(), of_reason], [0, 1], 2)
    outcome = (rows[HOURS].cast(pl.Float64).to_numpy(), kinds)
    columns = [column for coding in codings for column in coding.columns]
    also = [] if result.strata is None else [result.strata]
    return impute_model(rows, columns, estimate, outcome, also=also, m=m)


def _numbered(rows: pl.DataFrame, strata: str) -> pl.DataFrame:
    """Return the rows with the number of their stratum, in the order of its levels' names."""
    return rows.with_columns((as_text(rows[strata]).rank("dense") - 1).alias(STRATUM))


def model_data(
    rows: pl.DataFrame, patterns: pl.DataFrame, codings: Sequence[Coding], reason: str
) -> ModelData:
    """Make a model's data from the rows of the patterns; columns as for :func:`fit_removal_model`.

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
    absent = {CHILD: ALONE, CENSORING: 0, STRATUM: 0}
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
    pattern, hours, result, n, child, group, stratum = (column.to_numpy() for column in kept)
    _, hour = np.unique(hours, return_inverse=True)
    order = _one_order((pattern, hour, result, child, group, stratum))
    pattern, hours, result, n, child, group, stratum = (
        part[order] for part in (pattern, hours, result, n, child, group, stratum)
    )
    strata = stratum if STRATUM in rows.columns else None
    return ModelData(design(patterns, codings), pattern, hours, result, n, child, group, strata)


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
    return replace(data, outcome=outcome)
