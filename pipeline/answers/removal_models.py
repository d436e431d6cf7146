"""Models of removal from the store, and the store's episodes for models of others."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.analysis.survival.aft_model import AftResult, fit_aft_model
from pipeline.analysis.survival.model_data import Model
from pipeline.analysis.survival.removal_model import ModelResult, fit_removal_model
from pipeline.answers.removal_groups import RemovalAsked
from pipeline.errors import UsageError
from pipeline.measures import dwell_counts
from pipeline.measures.dimensions import grouped_by, is_same
from pipeline.measures.periods import checked_months
from pipeline.measures.where import parse_condition
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl


def check_strata(strata: str | None, by: str | None, adjust: Sequence[str], model: str) -> None:
    """Refuse strata that nothing is compared within; raises `UsageError`."""
    if strata is None:
        return
    grouped_by(strata)
    is_cox = bool(adjust) and model == "cox"
    if by is None and not is_cox:
        raise UsageError(
            "Strata need groups, or a Cox model, to compare within them.",
            try_next="--by COLUMN, or --adjust COLUMNS --model cox",
        )
    if is_cox:
        _refuse_both(strata, adjust, "strata")


def check_random(
    random: str | None, strata: str | None, adjust: Sequence[str], model: str, impute: int
) -> None:
    """Refuse a random effect that no model has; raises `UsageError`."""
    if random is None:
        return
    grouped_by(random)
    if not adjust or model != "cox" or strata is not None or impute:
        raise UsageError(
            "A random effect needs a Cox model, without strata and without imputing.",
            try_next=f"--adjust COLUMNS --random {random}",
        )
    _refuse_both(random, adjust, "random")


def _refuse_both(column: str, adjust: Sequence[str], what: str) -> None:
    if any(is_same(column, term) or is_same(term, column) for term in adjust):
        raise UsageError(
            f"{column} cannot be both {what} and a term.", try_next="take it out of --adjust"
        )


def model_of(
    store: Store, asked: RemovalAsked, adjust: Sequence[str], model: Model, *, impute: int = 0
) -> ModelResult:
    """Fit one reason's hazard, within the strata asked for, or its share."""
    strata = asked.strata if model == "cox" else None
    terms = [*adjust, *(one for one in (strata, asked.random) if one)]
    rows = dwell_counts.model_rows(store, terms, where=asked.where, months=asked.months)
    return fit_removal_model(
        rows, adjust, asked.reason, model=model, strata=strata, random=asked.random,
        hour=asked.end, impute=impute,
    )  # fmt: skip


def aft_of(
    store: Store, asked: RemovalAsked, adjust: Sequence[str], *, impute: int = 0
) -> AftResult:
    """Fit time to unplanned removal."""
    rows = dwell_counts.unplanned_rows(store, adjust, where=asked.where, months=asked.months)
    return fit_aft_model(rows, adjust, until_h=asked.end, impute=impute)


def survival_frame(
    store: Store,
    *covariates: str,
    where: str | None = None,
    first: str | None = None,
    last: str | None = None,
) -> pl.DataFrame:
    """Return episodes of known dwell in the shape that lifelines takes.

    Parameters
    ----------
    store : Store
        An open store.
    *covariates : str
        Terms that a model may have, a column each, null where not recorded.
    where, first, last : str, optional
        As for :func:`removal_result`.

    Returns
    -------
    polars.DataFrame
        A row an episode: `duration` in hours (the middle of an interval), `event` (removed
        for a recorded reason other than a completed course), `reason`, `entry` (0),
        `lower_bound` and `upper_bound` in hours (equal where exact, infinite without the
        event), `child` (whom errors are clustered on), and the covariates.

    Raises
    ------
    UsageError
        A covariate, condition or month is unknown.
    """
    condition, months = parse_condition(where), checked_months(first, last)
    return dwell_counts.survival_rows(store, covariates, where=condition, months=months)
