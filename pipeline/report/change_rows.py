"""A judged change as it may be printed: one row of figures, or a paragraph."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pipeline.analysis.change.effect import ChangeEffect
from pipeline.analysis.change.segmented import Effect
from pipeline.analysis.comparison.contrasts import Contrast
from pipeline.analysis.rates.rates import Rates
from pipeline.disclosure import WITHHELD
from pipeline.report.compare_rows import number
from pipeline.report.gather_change import JudgedChange
from pipeline.words.change import ratio_name, sentence

Row = dict[str, Any]


def rows(judged: JudgedChange) -> Row:
    """Return one flat row: null for what is withheld or could not be estimated."""
    effect, hidden = judged.effect, judged.is_withheld
    fields: Row = {
        **_rate("before", effect.before),
        **_rate("after", effect.after),
        **_contrast("", effect.crude),
        **_contrast("adjusted_", effect.adjusted),
        **_segmented(effect),
        **_contrast("controls_", effect.at_controls),
        **_effect("against_controls", _against(effect)),
        **_contrast("without_first_month_", effect.without_first_month),
        "placebo_month": effect.placebo_month or None,
        **_contrast("placebo_", effect.placebo),
    }
    for name in fields:
        is_controls = name.startswith(("controls_", "against_controls"))
        if hidden or (is_controls and judged.are_controls_withheld):
            fields[name] = None
    return {
        "change_id": judged.change.change_id,
        "started_month": judged.change.started_month,
        "title": judged.change.title,
        "measure": judged.measure.name,
        "sites": ",".join(effect.sites),
        "control_sites": ",".join(effect.controls),
        **fields,
        "sentence": words(judged),
    }


def text(judged: JudgedChange) -> str:
    """Return a heading and a cautious paragraph."""
    change = judged.change
    where = ", ".join(judged.effect.sites)
    head = f"{change.title} ({change.change_id}, {change.started_month}; {where})"
    trend = "" if judged.is_withheld else _trend(judged.effect)
    said = f"  {words(judged, with_caution=False)}"
    return "\n".join(part for part in [head, said, trend] if part)


def words(judged: JudgedChange, *, with_caution: bool = True) -> str:
    """Return the sentence about a change, saying no withheld figure."""
    if judged.is_withheld:
        return f"{judged.measure.title}: {WITHHELD}, few children."
    effect = judged.effect
    if judged.are_controls_withheld:
        effect = replace(effect, at_controls=None, against_controls=None)
    return sentence(
        effect,
        title=judged.measure.title,
        unit=judged.measure.unit,
        with_caution=with_caution,
    )


def _trend(effect: ChangeEffect) -> str:
    fit = effect.segmented
    if fit is None:
        return "  Too few months, or no event on one side, for a trend."
    return (
        f"  Trend, {ratio_name(effect)}s: level at the change {_spoken(fit.level)}; "
        f"slope a month {_spoken(fit.slope)}; earlier slope {_spoken(fit.earlier_slope)}."
    )


def _spoken(effect: Effect) -> str:
    return f"× {effect.ratio:.2f} ({effect.lower:.2f} to {effect.upper:.2f})"


def _rate(name: str, rate: Rates) -> Row:
    return {
        f"{name}_numerator": round(float(rate.numerator)),
        f"{name}_denominator": number(float(rate.denominator)),
        f"{name}_rate": number(float(rate.rate)),
        f"{name}_lower": number(float(rate.lower)),
        f"{name}_upper": number(float(rate.upper)),
    }


_CONTRAST = (
    "difference",
    "difference_lower",
    "difference_upper",
    "ratio",
    "ratio_lower",
    "ratio_upper",
)


def _contrast(prefix: str, contrast: Contrast | None) -> Row:
    return {
        f"{prefix}{name}": None if contrast is None else number(getattr(contrast, name))
        for name in _CONTRAST
    }


def _effect(name: str, effect: Effect | None) -> Row:
    ends = {"": "ratio", "_lower": "lower", "_upper": "upper"}
    return {
        f"{name}{end}": None if effect is None else number(getattr(effect, field))
        for end, field in ends.items()
    }


def _segmented(effect: ChangeEffect) -> Row:
    fit = effect.segmented
    return {
        **_effect("level", fit.level if fit else None),
        **_effect("slope", fit.slope if fit else None),
        **_effect("earlier_slope", fit.earlier_slope if fit else None),
    }


def _against(effect: ChangeEffect) -> Effect | None:
    return effect.against_controls.effect if effect.against_controls else None
