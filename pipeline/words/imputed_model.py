"""What imputing the terms of a model that were not recorded changes, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

import polars as pl

from pipeline.analysis.survival.event_counts import Floats
from pipeline.analysis.survival.imputed_model import ODDS, SPREADS, ImputedModel, ImputedTerm
from pipeline.analysis.survival.terms import Coefficient
from pipeline.words.codes import effect_of, quantity_of, words_of
from pipeline.words.numbers import figure, joined, ratio, sentence_case, with_limits

MEANING = (
    "Imputed as if what is not recorded were like that of catheters alike in all other terms and "
    "in what became of them. The last column: how far from that it would have to be, among "
    "those removed for the reason, for the limits to lie on another side of 1 (the odds of the "
    f"level up to {ODDS[-1]:.0f} times, a number up to {SPREADS[-1]:.0f} standard deviations)."
)


def imputed_words(imputed: ImputedModel, complete: Sequence[Floats]) -> list[str | pl.DataFrame]:
    """Lay the imputed ratios beside those of complete cases.

    Parameters
    ----------
    imputed : ImputedModel
    complete : sequence of three float arrays, shape (k,)
        Ratios of the complete cases with their lower and upper limits.
    """
    known = list(zip(*(part.tolist() for part in complete), strict=True))
    pairs = list(zip(imputed.terms, known, strict=True))
    changed = [
        _name(term.column)
        for term, (_, *ends) in pairs
        if _side(term.lower, term.upper) != _side(*ends)
    ]
    finding = f"Imputing changes on which side of 1 the limits lie for {joined(changed)}."
    return [
        f"With what is not recorded imputed {imputed.imputations} times ({imputed.episodes:,} "
        "catheters), beside complete cases:",
        pl.DataFrame([_row(term, ends) for term, ends in pairs]),
        finding if changed else "Imputing moves no limits to another side of 1.",
        MEANING,
    ]


def _row(term: ImputedTerm, complete: tuple[float, float, float]) -> dict[str, str]:
    return {
        "term": sentence_case(_name(term.column)),
        "complete cases": with_limits(*complete, ratio),
        "imputed": with_limits(term.ratio, term.lower, term.upper, ratio),
        "not recorded": f"{term.not_recorded:,}",
        "would change at": _turn(term),
    }


def _turn(term: ImputedTerm) -> str:
    if not term.not_recorded:
        return ""
    if math.isnan(term.turning_point):
        return "none tried"
    if term.column.level is not None:
        times = term.turning_point
        return f"odds {figure(times)} times" if times > 1 else f"odds 1/{figure(1 / times)}"
    _, unit = quantity_of(term.column.term)
    sign = "+" if term.turning_point > 0 else ""
    return f"{sign}{figure(term.turning_point)} {unit}".strip()


def _name(column: Coefficient) -> str:
    if column.level is None:
        return effect_of(column.term, None)
    against = words_of(str(column.reference))
    return f"{words_of(column.term)} {words_of(column.level)} against {against}"


def _side(lower: float, upper: float) -> int:
    return int(lower > 1) - int(upper < 1)
