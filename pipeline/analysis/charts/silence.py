"""What a chart's silence means, in sentences."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.detectability import Delay, Detectability
from pipeline.analysis.charts.results import ControlChart

MOST_MONTHS = 600.0
CHANGE_WORDS = {2.0: "doubled", 0.5: "halved", 1.5: "rose by 50%"}
SHORTFALL_WORDS = {
    2.0: "shortfall doubled", 0.5: "shortfall halved", 1.5: "shortfall rose by 50%"
}  # fmt: skip


def silence(chart: ControlChart, found: Detectability) -> list[str]:
    """Return the sentences on false signals and on delays."""
    if found.points == 0:
        return ["There is no point to judge: silence means nothing."]
    chance = found.false_signal
    said = [
        f"If nothing had changed, a chart like this of {found.points} points would show a false "
        f"signal with a chance of {chance_words(chance)}."
    ]
    said += [_delay_words(chart, delay) for delay in found.delays]
    return said


def _delay_words(chart: ControlChart, delay: Delay) -> str:
    words = CHANGE_WORDS
    if chart.model == "binomial" and chart.latest_centre > chart.multiplier / 2:
        words = SHORTFALL_WORDS
    change = words.get(delay.ratio, f"changed {delay.ratio:g}-fold")
    if not delay.months <= MOST_MONTHS:
        return f"If the rate {change}, this chart would not be expected to show it in 50 years."
    within = ""
    if np.isfinite(delay.within_year):
        within = f"; within a year with a chance of {chance_words(delay.within_year)}"
    after = months_words(delay.months)
    return f"If the rate {change}, a signal would be expected after about {after}{within}."


def months_words(months: float) -> str:
    """Write a number of months, at least one."""
    whole = max(1, round(months))
    return f"{whole:,} month{'' if whole == 1 else 's'}"


def chance_words(chance: float) -> str:
    """Write a chance in percent, its ends as bounds."""
    if chance >= 0.995:
        return "over 99%"
    return "under 1%" if chance < 0.01 else f"{100 * chance:.0f}%"
