"""A change's effect in a sentence or two that claims no more than association."""

from __future__ import annotations

from pipeline.analysis.change.e_value import change_e_values, is_common
from pipeline.analysis.change.effect import ChangeEffect
from pipeline.analysis.change.segmented import Effect
from pipeline.analysis.comparison.contrasts import Contrast
from pipeline.analysis.rates.rates import Rates
from pipeline.answers.change import JudgedChange
from pipeline.words.numbers import figure, limits, month, ratio

HALF = 0.5
CAUTION = (
    "This is an association: other things may have changed in the same months, "
    "and a change is often made after an unusually bad spell."
)


def sentence(effect: ChangeEffect, *, title: str, unit: str, with_caution: bool = True) -> str:
    """Say what happened to a measure after a change, cautiously.

    Parameters
    ----------
    effect : ChangeEffect
        The figures.
    title, unit : str
        The measure's title ("Large leakage at the skin entry") and unit ("per 100
        catheter-days").
    with_caution : bool
        Whether :data:`CAUTION` ends it; it must stand once below several.
    """
    parts = [_judged(effect, title), _rates(effect, unit), _earlier(effect), _explained(effect)]
    if with_caution:
        parts.append(CAUTION)
    return " ".join(part for part in parts if part)


def change_paragraph(judged: JudgedChange) -> str:
    """Return a heading, what happened, and the trend, without the caution."""
    change, effect = judged.change, judged.effect
    where = ", ".join(effect.sites)
    head = f"{change.title} ({change.change_id}, {change.started_month}; {where})"
    said = sentence(
        effect, title=judged.measure.title, unit=judged.measure.unit, with_caution=False
    )
    return f"{head}\n  {said}\n  {_trend(effect)}"


def _trend(effect: ChangeEffect) -> str:
    fit = effect.segmented
    if fit is None:
        return "Too few months, or no event on one side, for a trend."
    level, slope, earlier = (
        f"× {one.ratio:.2f} ({one.lower:.2f} to {one.upper:.2f})"
        for one in (fit.level, fit.slope, fit.earlier_slope)
    )
    return (
        f"Trend, {ratio_name(effect)}s: level at the change {level}; slope a month {slope}; "
        f"earlier slope {earlier}."
    )


def _judged(effect: ChangeEffect, title: str) -> str:
    """Lead with what is judged: the difference in differences, given how sites drift."""
    if effect.against_drift is None:
        return f"{title}: too few to tell."
    beside = (
        "against the sites without the change"
        if effect.controls
        else "no site without the change stands beside it; against its own past"
    )
    both = effect.against_drift.effect
    return f"{title}: {beside} the {ratio_name(effect)} is {_ratio(both)}, {_verdict(effect)}."


def _verdict(effect: ChangeEffect) -> str:
    direction = moved(effect)
    if direction:
        return f"{direction} by more than sites drift by themselves"
    if effect.is_too_few:
        return "too few to tell"
    return f"which is compatible with no change{_needed(effect)}"


def moved(effect: ChangeEffect) -> str:
    """Return "lower" or "higher" where a change is told from drift; else nothing."""
    judged = effect.against_drift
    if judged is None or effect.is_too_few:
        return ""
    return "lower" if judged.effect.upper < 1 else "higher" if judged.effect.lower > 1 else ""


def _needed(effect: ChangeEffect) -> str:
    """Say what it would take to tell a halving."""
    judged = effect.against_drift
    if judged is None or judged.effect.lower > HALF:
        return ""  # a halving is already told to be none
    ways = []
    if judged.months_needed:
        ways.append(f"{judged.months_needed} months after it")
    if judged.sites_needed:
        ways.append(f"{judged.sites_needed} sites, half of them with it")
    said = " or ".join(ways) or "more months and more sites than can be had"
    return f"; to tell a halving four times in five would take {said}"


def _rates(effect: ChangeEffect, unit: str) -> str:
    contrast = effect.adjusted or effect.crude
    allowed = " allowing for case mix" if effect.adjusted else ""
    return (
        f"Its sites had {_rate(effect.before)} {unit} before {month(effect.started_month)}, "
        f"{_rate(effect.after)} from then on (ratio{allowed} {_ratio(contrast)})."
    )


def ratio_name(effect: ChangeEffect) -> str:
    """Name what a fitted effect is: a proportion's is a ratio of odds."""
    return "odds ratio" if effect.monthly.kind == "proportion" else "rate ratio"


def _earlier(effect: ChangeEffect) -> str:
    """Set the same difference of the months before beside it; warn of a decisive first month."""
    notes = []
    if effect.placebo is not None:
        both = effect.placebo.effect
        already = " already, so that it says little" if both.lower > 1 or both.upper < 1 else ""
        notes.append(
            f"At {month(effect.placebo_month)}, when nothing was changed, the same comparison "
            f"gives {_ratio(both)}{already}."
        )
    later = effect.without_first_month
    if later is not None and _is_away_from_one(later) != _is_away_from_one(effect.crude):
        notes.append(
            f"Without the first month the crude ratio is {_ratio(later)}: that month matters."
        )
    return " ".join(notes)


def _explained(effect: ChangeEffect) -> str:
    """Say how strong another cause would have to be to explain away what is told."""
    found = change_e_values(effect) if moved(effect) else None
    if found is None:
        return ""
    common = ""
    if is_common(effect):
        common = ", the square root of the odds ratio being taken since the outcome is common"
    return (
        "To explain it away, another cause would have to be tied to both the change and the "
        f"outcome by ratios of {ratio(found[0])} each ({ratio(found[1])} for the limit nearer "
        f"to 1){common}."
    )


def _is_away_from_one(contrast: Contrast) -> bool:
    return contrast.ratio_lower > 1 or contrast.ratio_upper < 1


def _limits(contrast: Contrast | Effect) -> tuple[float, float]:
    if isinstance(contrast, Effect):
        return contrast.lower, contrast.upper
    return contrast.ratio_lower, contrast.ratio_upper


def _ratio(contrast: Contrast | Effect) -> str:
    lower, upper = _limits(contrast)
    return f"{ratio(contrast.ratio)}, 95% limits {limits(lower, upper, ratio)}"


def _rate(rate: Rates) -> str:
    return figure(float(rate.rate))
