"""What a chart's silence means, in sentences."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.results import ControlChart
from pipeline.analysis.charts.sight import Delay, Sight
from pipeline.words.numbers import chance, count

MOST_MONTHS = 600.0
CHANGE_WORDS = {2.0: "doubled", 0.5: "halved", 1.5: "rose by 50%"}
NOTHING = "No event to judge by yet: silence means nothing."


def silence(chart: ControlChart, found: Sight) -> list[str]:
    """Return the sentences on false alarms and on delays."""
    if not np.isfinite(found.false_watch):
        return [NOTHING]
    said = [
        "If nothing changes, the chance within a year of a watch by luck alone is "
        f"{chance(found.false_watch)}, of a call {chance(found.false_call)}."
    ]
    return said + [_delay_words(chart, delay) for delay in found.delays]


def _delay_words(chart: ControlChart, delay: Delay) -> str:
    is_shortfall = chart.model == "binomial" and chart.latest_centre > chart.multiplier / 2
    changed = CHANGE_WORDS.get(delay.ratio, f"changed {delay.ratio:g}-fold")
    given = f"If the {'shortfall' if is_shortfall else 'rate'} {changed}"
    if not delay.watch <= MOST_MONTHS:
        return f"{given}, this chart would not be expected to show it in 50 years."
    seen = delay.call <= MOST_MONTHS
    call = f"a call within {months_words(delay.call)}" if seen else "no call in 50 years"
    return (
        f"{given}, half of the time a watch would come within {months_words(delay.watch)} (within "
        f"a year with a chance of {chance(delay.within_year)}), {call}."
    )


def months_words(months: float) -> str:
    """Write a number of months, at least one."""
    return count(max(1, round(months)), "month")
