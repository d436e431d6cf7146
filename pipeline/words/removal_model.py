"""A model in words that a clinician reads, with absolute risks beside the ratios."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.analysis.survival.absolute_risks import AbsoluteRisk
from pipeline.analysis.survival.calibration import CalibrationGroup
from pipeline.analysis.survival.curve_limits import Z
from pipeline.analysis.survival.frailty import Frailty
from pipeline.analysis.survival.model_data import ModelFit
from pipeline.analysis.survival.removal_model import ModelResult
from pipeline.analysis.survival.term_choice import LeftOut
from pipeline.analysis.survival.terms import EVENTS_PER_COEFFICIENT
from pipeline.words.codes import effect_of, noun_of, quantity_of, words_of
from pipeline.words.numbers import (
    count,
    figure,
    limits,
    p_value,
    ratio,
    sentence_case,
    with_limits,
)

MEANINGS = {
    "cox": "Other reasons end follow-up: a ratio says what drives this reason while in place.",
    "finegray": "Ratios are of subdistribution hazards: they say what share will come out for "
    "this reason.",
}
FEW_P = 0.05


def model_sentences(result: ModelResult) -> list[str]:
    """Say what a model found, what was left out of it, and whether its ratios hold."""
    said = []
    if result.fit is not None:
        said = [_column(result, result.fit, i) for i in range(len(result.fit.columns))]
        said.append(MEANINGS[result.model])
        if result.strata is not None:
            levels = words_of(result.strata)
            said.append(f"Catheters are compared within the same {levels} alone.")
        if result.frailty is not None:
            said.append(frailty_sentence(result.frailty))
    said += [left_out_sentence(left) for left in result.left_out]
    if result.missing:
        terms = [quantity_of(term)[0] for term in result.missing_by_term]
        said.append(incomplete_sentence(result.missing, terms))
    return [*said, *_proportional(result), *_concordant(result)]


def incomplete_sentence(catheters: int, terms: Sequence[str] = ()) -> str:
    """Say that catheters are left out of a model for what is not recorded of them."""
    named = f" ({', '.join(terms)})" if terms else ""
    return (
        f"{count(catheters, 'catheter')} not in the model because something is not recorded"
        f"{named}: complete cases only."
    )


def frailty_sentence(frailty: Frailty) -> str:
    """Say how far apart the levels of a column lie, all else equal."""
    levels, sds = words_of(frailty.term), limits(frailty.lower, frailty.upper)
    if frailty.sd == 0:
        return (
            f"All else equal, the {len(frailty.levels)} levels of {levels} differ no more than "
            f"chance alone would have them (SD on the log hazard, 95% limits {sds})."
        )
    reach = np.exp(Z * frailty.sd)
    return (
        f"All else equal, 95 in 100 levels of {levels} like these {len(frailty.levels)} would have "
        f"{ratio(1 / reach)} to {ratio(reach)} times the hazard of the typical one (SD "
        f"{figure(frailty.sd)} on the log hazard, 95% limits {sds})."
    )


def frailty_table(frailty: Frailty) -> pl.DataFrame:
    """Return the levels' hazards, drawn towards the typical one."""
    rows = [
        (words_of(one.level), with_limits(one.ratio, one.lower, one.upper, ratio))
        for one in frailty.levels
    ]
    return pl.DataFrame(
        rows, schema=[words_of(frailty.term), "hazard against the typical one"], orient="row"
    )


def left_out_sentence(left: LeftOut) -> str:
    """Say what is not in a model and why."""
    name, _ = quantity_of(left.term)
    if left.why == "not_estimable":
        return left.message
    if left.why == "level_without_event":
        return (
            f"{sentence_case(name)} {words_of(str(left.level))}: no catheter was removed for this "
            "reason, so a ratio cannot be given; these catheters are not in the model."
        )
    if left.why == "told_before" and left.level is not None:
        return f"{sentence_case(effect_of(left.term, left.level))} is told by the terms before it."
    return f"{sentence_case(name)} is not fitted: {_why_no_term(left)}."


def _why_no_term(left: LeftOut) -> str:
    if left.why == "no_event":
        return "no catheter with it recorded was removed for this reason"
    if left.why == "constant":
        return "it does not vary among the catheters analysed"
    if left.why == "one_level":
        return "catheters of one level alone were removed for this reason"
    if left.why == "told_before":
        return "it tells the same as the terms before it"
    return (
        f"there are {count(left.events, 'removal')} for this reason, too few for the"
        f" {count(left.wanted, 'coefficient')} that the model would have, at"
        f" {EVENTS_PER_COEFFICIENT} each"
    )


def _column(result: ModelResult, fit: ModelFit, i: int) -> str:
    column = fit.columns[i]
    often = ratio(fit.hazard_ratio[i])
    said = limits(fit.lower[i], fit.upper[i], ratio)
    often += f" times as frequent (95% limits {said})"
    reason = noun_of(result.reason)
    risks = {r.child.value: r for r in result.risks if r.child.term == column.term}
    if column.level is None:
        step = sentence_case(effect_of(column.term, None))
        by = _number_risks(list(risks.values()))
        return f"{step}: removal for {reason} is {often}, all else equal{by}."
    assert column.reference is not None
    level, reference = words_of(column.level), words_of(column.reference)
    own, other = risks.get(column.level), risks.get(column.reference)
    beside = ""
    if own is not None and other is not None:
        beside = (
            f": {_per_100(own)} of 100 such catheters out for it by {own.hour:g} h, against "
            f"{_per_100(other)}"
        )
    name = sentence_case(words_of(column.term))
    return (
        f"{name} {level} against {reference}: removal for {reason} is {often}, "
        f"all else equal{beside}."
    )


def _number_risks(risks: list[AbsoluteRisk]) -> str:
    if not risks:
        return ""
    parts = [f"{_per_100(r)} of 100 at {r.child.value}" for r in risks]
    return f": by {risks[0].hour:g} h {', '.join(parts)}"


def _per_100(risk: AbsoluteRisk) -> str:
    return figure(100 * risk.risk)


def _concordant(result: ModelResult) -> list[str]:
    found = result.concordance
    if found is None or not np.isfinite(found.estimate):
        return []
    return [
        f"Of two catheters, the one removed first for {noun_of(result.reason)} has the higher "
        f"modelled hazard {100 * found.estimate:.0f} times in 100 (95% limits "
        f"{100 * found.lower:.0f} to {100 * found.upper:.0f}; 50 would be chance), among those "
        "that the model was fitted to."
    ]


def calibration_table(result: ModelResult) -> pl.DataFrame:
    """Return modelled beside observed removals per 100, by fifths of the modelled."""
    return pl.DataFrame(
        [
            (f"{group.catheters:,}", f"{100 * group.modelled:.1f}", _observed(group))
            for group in result.calibration
        ],
        schema=["catheters, by risk", f"modelled by {result.hour:g} h, %", "observed, %"],
        orient="row",
    )


def _observed(group: CalibrationGroup) -> str:
    if not np.isfinite(group.observed):
        return "not followed"
    return with_limits(100 * group.observed, 100 * group.lower, 100 * group.upper)


def _proportional(result: ModelResult) -> list[str]:
    if result.check is None:
        return []
    doubtful = [
        f"{quantity_of(test.term)[0]} ({p_value(test.p_value)})"
        for test in result.check.tests[:-1]
        if test.p_value < FEW_P
    ]
    if not doubtful:
        return ["No ratio is seen to change over the course (score test of each term)."]
    return [
        f"The ratio changes over the course for {', '.join(doubtful)}: read it as an average, "
        "and look at the ratios by day."
    ]
