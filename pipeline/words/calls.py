"""How often families call, in words."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.analysis.survival.model_data import ModelFit
from pipeline.analysis.survival.recurrent_model import RecurrentModel
from pipeline.analysis.survival.term_choice import LeftOut
from pipeline.answers.calls import CallGroup, CallsResult
from pipeline.words.codes import effect_of, quantity_of, words_of
from pipeline.words.numbers import count, limits, ratio, sentence_case, with_limits
from pipeline.words.removal_model import incomplete_sentence

MEANING = (
    "Ratios are of calls for each hour in place; limits allow for families that call again "
    "(Andersen-Gill, errors clustered on the child)."
)
NOT_FITTED = {
    "no_event": "no family with it recorded called",
    "constant": "it does not vary among the catheters analysed",
    "one_level": "families of one level alone called",
    "told_before": "it tells the same as the terms before it",
    "few_events": "there are too few calls for one more coefficient",
}


def calls_words(result: CallsResult) -> list[str | pl.DataFrame]:
    """Return what was asked for: a line a group, a table, and the model's sentences."""
    said: list[str | pl.DataFrame] = [_head(group) for group in result.groups]
    said += ["", _table(result.groups), ""]
    said.append(
        "Mean calls of a family by each hour, for a catheter that stays so long; limits allow for "
        "families that call again."
    )
    if result.later:
        said.append(f"{count(result.later, 'call')} after removal not counted.")
    if result.model is not None:
        said += ["", *call_model_sentences(result.model)]
    return said


def _head(group: CallGroup) -> str:
    return (
        f"{sentence_case(group.label) or 'All catheters'}: {count(group.episodes, 'catheter')}, "
        f"{count(group.calls, 'call')} in {group.called:,} of them."
    )


def _table(groups: tuple[CallGroup, ...]) -> pl.DataFrame:
    """One column an hour; two rows a group."""
    rows = []
    for group in groups:
        curve, name = group.curve, group.label or "all"
        values = zip(curve.mean, curve.lower, curve.upper, strict=True)
        rows.append([f"{name}: still in place", *(f"{n:,}" for n in curve.n.tolist())])
        rows.append([f"{name}: mean calls", *(_mean(*map(float, value)) for value in values)])
    hours = (f"{hour:g} h" for hour in groups[0].curve.hours)
    return pl.DataFrame(rows, schema=["by", *hours], orient="row")


def _mean(mean: float, lower: float, upper: float) -> str:
    if not np.isfinite(mean):
        return "not followed"
    return with_limits(mean, lower, upper) if np.isfinite(lower) else "0"


def call_model_sentences(model: RecurrentModel) -> list[str]:
    """Say who calls more often, all else equal, and what was left out."""
    said = []
    if model.fit is not None:
        said = [_ratio(model.fit, i) for i in range(len(model.fit.columns))]
        said.append(MEANING)
    said += [_left_out(left) for left in model.left_out]
    if model.missing:
        said.append(incomplete_sentence(model.missing))
    return said


def _ratio(fit: ModelFit, i: int) -> str:
    column = fit.columns[i]
    name = effect_of(column.term, None)
    if column.level is not None:
        against = words_of(str(column.reference))
        name = f"{words_of(column.term)} {words_of(column.level)} against {against}"
    told = limits(fit.lower[i], fit.upper[i], ratio)
    return (
        f"{sentence_case(name)}: families call {ratio(fit.hazard_ratio[i])} times as often "
        f"(95% limits {told}), all else equal."
    )


def _left_out(left: LeftOut) -> str:
    name = sentence_case(quantity_of(left.term)[0])
    if left.why == "not_estimable":
        return left.message
    if left.why == "level_without_event":
        return (
            f"{name} {words_of(str(left.level))}: no family called, so a ratio cannot be given; "
            "these catheters are not in the model."
        )
    if left.level is not None:
        return f"{sentence_case(effect_of(left.term, left.level))} is told by the terms before it."
    return f"{name} is not fitted: {NOT_FITTED[left.why]}."
