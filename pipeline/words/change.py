"""A change's effect in a sentence or two that claims no more than association."""

from __future__ import annotations

from pipeline.analysis.change.effect import ChangeEffect
from pipeline.analysis.change.segmented import Effect
from pipeline.analysis.comparison.contrasts import Contrast
from pipeline.analysis.rates.rates import Rates
from pipeline.answers.change import JudgedChange
from pipeline.words.numbers import figure, limits, month, ratio

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
    parts = [_main(effect, title, unit), _beside_controls(effect), _earlier(effect)]
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


def _main(effect: ChangeEffect, title: str, unit: str) -> str:
    before, after = _rate(effect.before), _rate(effect.after)
    when = month(effect.started_month)
    opening = f"{title}: {before} {unit} before {when}, {after} from then on"
    contrast = effect.adjusted or effect.crude
    allowed = " allowing for case mix" if effect.adjusted else ""
    figures = f"ratio{allowed} {_ratio(contrast)}"
    if effect.is_too_few:
        return f"{opening} ({figures}): too few to tell."
    return f"{opening} ({figures}), {_verdict(contrast)}."


def _verdict(contrast: Contrast | Effect) -> str:
    lower, upper = _limits(contrast)
    if upper < 1:
        return "lower than before by more than chance alone explains"
    if lower > 1:
        return "higher than before by more than chance alone explains"
    return "which is compatible with no change"


def _beside_controls(effect: ChangeEffect) -> str:
    if effect.against_controls is None:
        return "" if effect.controls else "No site without the change stands beside it."
    both = effect.against_controls.effect
    text = f"Against the sites without the change the {ratio_name(effect)} is {_ratio(both)}"
    lower, upper = _limits(both)
    return f"{text}." if upper < 1 or lower > 1 else f"{text}, which includes no difference."


def ratio_name(effect: ChangeEffect) -> str:
    """Name what a fitted effect is: a proportion's is a ratio of odds."""
    return "odds ratio" if effect.monthly.kind == "proportion" else "rate ratio"


def _earlier(effect: ChangeEffect) -> str:
    """Warn where the months before already moved, or the first month carries the result."""
    notes = []
    if effect.placebo is not None and _is_away_from_one(effect.placebo):
        notes.append(
            f"The rate already moved at {month(effect.placebo_month)}, when nothing was changed "
            f"(ratio {_ratio(effect.placebo)})."
        )
    later = effect.without_first_month
    if later is not None and _is_away_from_one(later) != _is_away_from_one(effect.crude):
        notes.append(
            f"Without the first month the crude ratio is {_ratio(later)}: that month matters."
        )
    return " ".join(notes)


def _is_away_from_one(contrast: Contrast) -> bool:
    return contrast.ratio_lower > 1 or contrast.ratio_upper < 1


def is_beyond_chance(effect: ChangeEffect) -> bool:
    """Say whether the rate moved, and moved away from the sites without the change too."""
    beside = effect.against_controls
    moved = [_limits(effect.adjusted or effect.crude)]
    if beside is not None:
        moved.append(_limits(beside.effect))
    return not effect.is_too_few and all(upper < 1 or lower > 1 for lower, upper in moved)


def _limits(contrast: Contrast | Effect) -> tuple[float, float]:
    if isinstance(contrast, Effect):
        return contrast.lower, contrast.upper
    return contrast.ratio_lower, contrast.ratio_upper


def _ratio(contrast: Contrast | Effect) -> str:
    lower, upper = _limits(contrast)
    return f"{ratio(contrast.ratio)}, 95% limits {limits(lower, upper, ratio)}"


def _rate(rate: Rates) -> str:
    return figure(float(rate.rate))
