"""Time to unplanned removal in words: time ratios, and hours won or lost."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.survival.aft import AftFit
from pipeline.analysis.survival.aft_family import FAMILIES
from pipeline.analysis.survival.aft_model import AftHours, AftResult
from pipeline.words.codes import effect_of, quantity_of, words_of
from pipeline.words.numbers import limits, ratio, sentence_case
from pipeline.words.removal_model import incomplete_sentence, left_out_sentence

MEANING = (
    "Unplanned is removal for any recorded reason but a completed course, which ends follow-up "
    "as planned; a removal known only as an interval stays one."
)


def aft_sentences(result: AftResult) -> list[str]:
    """Say what stretches time to unplanned removal, how well the law fits, and what is left out."""
    said = []
    if result.fits:
        best = result.fits[0]
        said = [_ratio(result, best, i) for i in range(len(best.columns))]
        said += [MEANING, _fit(result, best)]
    said += [left_out_sentence(left) for left in result.left_out]
    if result.missing:
        said.append(incomplete_sentence(result.missing))
    return said


def _ratio(result: AftResult, fit: AftFit, i: int) -> str:
    column, (value, lower, upper) = fit.columns[i], (part[i] for part in fit.time_ratio)
    hours = [h for h in result.hours if h.child.term == column.term]
    name = effect_of(column.term, None)
    if column.level is not None:
        assert column.reference is not None
        name = f"{words_of(column.term)} {words_of(column.level)} against "
        name += words_of(column.reference)
        hours = [h for h in hours if h.child.value == column.level]
    said = "; ".join(_hours(h, result) for h in hours if h.more or column.level is not None)
    return (
        f"{sentence_case(name)}: time to unplanned removal is {ratio(value)} times as long "
        f"(95% limits {limits(lower, upper, ratio)}), all else equal{'; ' if said else ''}{said}."
    )


def _hours(hours: AftHours, result: AftResult) -> str:
    first = next(h for h in result.hours if h.child.term == hours.child.term)
    quantity, unit = quantity_of(hours.child.term)
    against = f" at {quantity} {hours.child.value} than at {first.child.value}" if unit else ""
    word = "more" if hours.more >= 0 else "less"
    return (
        f"{abs(hours.more):.1f} h {word} of the first {result.until_h:g}{against} "
        f"({hours.lower:+.1f} to {hours.upper:+.1f})"
    )


def _fit(result: AftResult, best: AftFit) -> str:
    others = ", ".join(
        f"{FAMILIES[f.family].name} +{f.aic - best.aic:.1f}" for f in result.fits[1:]
    )
    said = f"Law: {FAMILIES[best.family].name}, of the least AIC ({others})"
    if best.family not in result.check.by_family:
        return f"{said}."
    gap = np.abs(result.check.by_family[best.family] - result.check.nonparametric)
    hour = result.check.at_h[int(np.argmax(gap))]
    return (
        f"{said}; without covariates it lies at most {100 * gap.max():.1f} per 100 from the "
        f"estimate that assumes no law, at {hour:g} h."
    )
