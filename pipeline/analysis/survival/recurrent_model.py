"""Rate ratios of events that come back: Andersen-Gill regression, errors clustered on the child."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipeline.analysis.survival.cox import cox
from pipeline.analysis.survival.model_data import ModelFit, NotEstimableError
from pipeline.analysis.survival.removal_model import model_data
from pipeline.analysis.survival.term_choice import (
    EVENTS,
    NUMBER,
    REASON,
    LeftOut,
    choose_terms,
    without_aliases,
)
from pipeline.analysis.survival.terms import code_terms

EVENT = "event"


@dataclass(frozen=True)
class RecurrentModel:
    """Rate ratios, or why there are none; `missing` episodes lack a term (complete cases)."""

    asked: tuple[str, ...]
    fit: ModelFit | None
    left_out: tuple[LeftOut, ...]
    missing: int


def fit_recurrent_model(
    episodes: pl.DataFrame, events: pl.DataFrame, terms: Sequence[str]
) -> RecurrentModel:
    """Fit the rate of events while a catheter is in place.

    An event ends nothing: the catheter goes on being at risk. That events of one child
    hang together is left to the errors.

    Parameters
    ----------
    episodes : DataFrame
        A row an episode: `episode`, `child`, `hours` followed, and the terms.
    events : DataFrame
        A row an event: `episode` and `hours`, no later than the episode was followed.
    terms : sequence of str

    References
    ----------
    Andersen and Gill 1982, Ann Stat 10:1100-1120; Lin and others 2000, J R Stat Soc B
    62:711-730 (errors; both recalled, not retrieved); figures of R's coxph in tests/reference.
    """
    asked = list(dict.fromkeys(terms))
    kept = ("hours", "child", *asked, REASON)
    ends = episodes.with_columns(pl.lit(None, pl.String).alias(REASON)).select(kept)
    happened = (
        events.join(episodes.drop("hours"), on="episode")
        .with_columns(pl.lit(EVENT).alias(REASON))
        .select(kept)
    )
    rows = pl.concat([ends, happened]).group_by(kept).agg(pl.len().alias(NUMBER))
    is_event = pl.col(REASON).is_not_null()
    patterns = (
        rows.group_by(asked)
        .agg(
            pl.col(NUMBER).filter(~is_event).sum(),
            pl.col(NUMBER).filter(is_event).sum().alias(EVENTS),
        )
        .sort(asked)
    )
    choice = choose_terms(patterns, asked)
    missing = int(patterns[NUMBER].sum()) - int(patterns.drop_nulls(choice.terms)[NUMBER].sum())
    result = RecurrentModel(tuple(terms), None, tuple(choice.left_out), missing)
    if not choice.terms:
        return result
    codings, merged = without_aliases(choice.patterns, code_terms(choice.patterns, choice.terms))
    data = replace(model_data(rows, choice.patterns, codings, EVENT), goes_on=True)
    try:
        return replace(result, fit=cox(data), left_out=(*result.left_out, *merged))
    except NotEstimableError as error:
        left = LeftOut("", None, "not_estimable", message=str(error))
        return replace(result, left_out=(*result.left_out, left))
