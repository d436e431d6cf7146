"""What a chart's silence means, in sentences."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.detectability import Delay, Detectability
from pipeline.analysis.charts.results import ControlChart
from pipeline.analysis.charts.unusable_baseline import NoRoom
from pipeline.words.numbers import chance

MOST_MONTHS = 600.0
CHANGE_WORDS = {2.0: "doubled", 0.5: "halved", 1.5: "rose by 50%"}


NO_ROOM = {
    "no_point": "There is no point to judge: silence means nothing.",
    "no_variation": (
        "The baseline does not vary at all, so it cannot be told how soon a change would show."
    ),
    "every_gap_zero": (
        "Every catheter of the baseline had the event, so no more of them can be shown."
    ),
    "none_without": "None was without in the baseline, and twice or half of none is none",
    "no_event": "No event in the baseline, and twice or half of none is none",
}


def no_room_words(found: NoRoom) -> str:
    """Say why it cannot be told how soon a change would show, and what would signal."""
    said = NO_ROOM[found.why]
    if found.needed is not None:
        return f"{said}; {found.needed} in one period like the last would signal."
    return said if said.endswith(".") else f"{said}."


def silence(chart: ControlChart, found: Detectability) -> list[str]:
    """Return the sentences on false signals and on delays."""
    if found.unknown is not None:
        return [no_room_words(found.unknown)]
    said = [
        f"If nothing had changed, a chart like this of {found.points} "
        f"point{'' if found.points == 1 else 's'} would show a false "
        f"signal with a chance of {chance(found.false_signal)}."
    ]
    return said + [_delay_words(chart, delay) for delay in found.delays]


def _delay_words(chart: ControlChart, delay: Delay) -> str:
    is_shortfall = chart.model == "binomial" and chart.latest_centre > chart.multiplier / 2
    changed = CHANGE_WORDS.get(delay.ratio, f"changed {delay.ratio:g}-fold")
    given = f"If the {'shortfall' if is_shortfall else 'rate'} {changed}"
    if not delay.months <= MOST_MONTHS:
        return f"{given}, this chart would not be expected to show it in 50 years."
    within = ""
    if np.isfinite(delay.within_year):
        within = f"; within a year with a chance of {chance(delay.within_year)}"
    after = months_words(delay.months)
    return f"{given}, a signal would be expected after about {after}{within}."


def months_words(months: float) -> str:
    """Write a number of months, at least one."""
    whole = max(1, round(months))
    return f"{whole:,} month{'' if whole == 1 else 's'}"
