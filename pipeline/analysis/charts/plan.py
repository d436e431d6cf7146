"""Planning: how long, or how many catheters a month, to see a given change.

The same questions as `detectability`, asked before there is a chart: a steady
volume and rate are assumed, and every chart that could follow them is compared.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.chains import cusum_limit, cusum_run_length
from pipeline.analysis.charts.chart import control_chart
from pipeline.analysis.charts.cusum import DOWN, IN_CONTROL_MONTHS, UP, Risk, month_masses
from pipeline.analysis.charts.detectability import detectability
from pipeline.analysis.charts.results import ControlChart, Counts
from pipeline.analysis.charts.simulate import FULL, Effort

STEADY_MONTHS = 24
"""Months of baseline assumed behind a planned chart."""

PROPORTION_CHARTS = ("p", "run", "g", "cusum")
RATE_CHARTS = ("u", "run", "t", "cusum")
SEARCH_GRID = 120
MOST_VOLUME = 10_000.0
ROUGH = Effort(series=400, horizon=240)
"""Simulation that serves to search and to rank; about 5% off."""

QUIET_MONTHS = 60.0
"""A chart that cries wolf oftener than once in five years is not recommended. Our choice."""

Delay = Callable[[float, float, Effort], float]


@dataclass(frozen=True)
class PlanRow:
    """One chart: months to see the change, months to a false signal, volume needed.

    `volume_needed` is the smallest monthly volume that brings the expected
    delay within the months asked for; None where no volume looked at does.
    """

    chart: str
    months: float
    false_signal_months: float
    volume_needed: float | None

    @property
    def quiet_enough(self) -> bool:
        """Whether false signals are rare enough for the chart to be of use."""
        return self.false_signal_months >= QUIET_MONTHS


@dataclass(frozen=True)
class Plan:
    """All charts for one measure, the soonest first, those with many false signals last."""

    rate: float
    volume: float
    ratio: float
    within: float
    rows: tuple[PlanRow, ...]

    @property
    def soonest(self) -> PlanRow | None:
        """The chart expected to signal first, of those quiet enough; None where none is."""
        fit = (row for row in self.rows if row.quiet_enough and np.isfinite(row.months))
        return next(fit, None)


def plan_detection(
    rate: float,
    volume: float,
    *,
    ratio: float,
    proportion: bool,
    within: float = 12.0,
    in_control_months: float = IN_CONTROL_MONTHS,
) -> Plan:
    """Compare charts by how soon they would see a change.

    Parameters
    ----------
    rate : float
        Present proportion, or events per unit of exposure.
    volume : float
        Catheters (proportion) or catheter-days (rate) a month.
    ratio : float
        Change to be seen; a proportion above one half changes in its shortfall.
    proportion : bool
    within : float
        Months within which the change should be seen, for `volume_needed`.
    in_control_months : float
        Months to a false signal of the CUSUM, from which its limit is found.

    Raises
    ------
    ValueError
        If the rate leaves no room for events, or volume or ratio is not above
        zero, or the ratio is one.
    """
    _check(rate, volume, ratio, proportion=proportion)
    rows = []
    for chart in PROPORTION_CHARTS if proportion else RATE_CHARTS:
        delay = _delay_of(chart, rate, in_control_months, proportion=proportion)
        needed = _volume_needed(delay, volume, ratio, within)
        false = delay(volume, 1.0, ROUGH)
        rows.append(PlanRow(chart, delay(volume, ratio, FULL), false, needed))
    rows.sort(key=lambda row: (not row.quiet_enough, row.months))
    return Plan(rate, volume, ratio, within, tuple(rows))


def _check(rate: float, volume: float, ratio: float, *, proportion: bool) -> None:
    if not rate > 0 or (proportion and not rate < 1):
        raise ValueError("a plan needs a rate that leaves room for events and for none")
    if not volume > 0:
        raise ValueError("a plan needs a monthly volume above zero")
    if not ratio > 0 or ratio == 1:
        raise ValueError("the change must be a ratio above zero, and not one")


def _delay_of(chart: str, rate: float, in_control_months: float, *, proportion: bool) -> Delay:
    """Return months to a signal as a function of volume, ratio and effort."""
    if chart == "cusum":
        return lambda n, ratio, _: _cusum_months(
            rate, n, ratio, in_control_months, proportion=proportion
        )
    if chart in {"g", "t"}:
        return lambda n, ratio, effort: _gap_months(chart, rate, n, ratio, effort)
    return lambda n, ratio, effort: (
        detectability(
            _steady_chart(chart, rate, n, proportion=proportion), ratios=(ratio,), effort=effort
        )
        .delays[0]
        .months
    )


def _steady_chart(chart: str, rate: float, volume: float, *, proportion: bool) -> ControlChart:
    n = float(max(1, round(volume))) if proportion else volume
    periods = tuple(f"{i:03d}" for i in range(STEADY_MONTHS))
    steady = Counts(periods, np.full(STEADY_MONTHS, rate * n), np.full(STEADY_MONTHS, n))
    model = "binomial" if proportion else "poisson"
    return control_chart(steady, kind=chart, forced=True, model=model)


def _gap_months(chart: str, rate: float, volume: float, ratio: float, effort: Effort) -> float:
    """Return months to a signal of a g or t chart over the events of the steady months."""
    rare = min(rate, 1 - rate) if chart == "g" else rate
    gap = 1 / rare - 1 if chart == "g" else 1 / rare
    events = max(2, round(STEADY_MONTHS * volume * rare))
    periods = tuple(f"{i:04d}" for i in range(min(events, 200)))
    steady = Counts(periods, np.full(len(periods), gap), np.ones(len(periods)))
    drawn = control_chart(steady, kind=chart, forced=True)
    found = detectability(drawn, ratios=(ratio,), monthly_volume=volume, effort=effort)
    return found.delays[0].months


def _cusum_months(
    rate: float, volume: float, ratio: float, in_control_months: float, *, proportion: bool
) -> float:
    """Return months to a signal of the CUSUM that looks for a change of this direction."""
    rare = min(rate, 1 - rate) if proportion else rate
    looked_for = UP if ratio >= 1 else DOWN
    if proportion:
        after = min(rare * ratio, 1 - 1e-9)
        true = after / (1 - after) * (1 - rare) / rare
    else:
        true = ratio
    n, only = float(max(1, round(volume))) if proportion else volume, np.zeros(1, np.int64)
    risk = Risk.alike(np.array([n]), rare, proportion=proportion)
    limit = cusum_limit(month_masses(risk, only, looked_for), in_control_months, SEARCH_GRID)
    masses = month_masses(risk, only, looked_for, true_ratio=true)
    return cusum_run_length(masses, limit, SEARCH_GRID)


def _volume_needed(delay: Delay, volume: float, ratio: float, within: float) -> float | None:
    """Return the smallest volume whose expected delay is at most `within` months.

    Found by doubling and halving, then bisection to about 5%.
    """

    def enough(n: float) -> bool:
        return delay(n, ratio, ROUGH) <= within

    high = volume
    while not enough(high):
        high *= 2
        if high > MOST_VOLUME:
            return None
    low = high / 2
    while low >= 1 and enough(low):
        low, high = low / 2, low
    while high / max(low, 0.5) > 1.05 and high - low > 1:
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return float(np.ceil(high))
