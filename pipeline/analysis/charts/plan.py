"""Planning: how soon each kind of chart would see a change, at equal false alarms."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.chains import Month, cusum_matrix, decision_limits, run_length
from pipeline.analysis.charts.cusum import DOWN, UP
from pipeline.analysis.charts.results import Floats
from pipeline.analysis.charts.sight import BANDS, odds_after, settled
from pipeline.analysis.rates.distributions import binomial_at_most, poisson_at_most

FALSE_ALARM_MONTHS = 360.0
LONG = 24.0
"""Months after which a doubling seen comes too late to be of use. Our choice."""

CHANGES = (2.0, 0.5, 1.5)
MOST_VOLUME = 1e5
LEAST_RARE = 1e-6


@dataclass(frozen=True)
class PlanRow:
    """Months that one kind of chart would take to see each change; infinite where it never would.

    `chart` is ``cusum`` (evidence added up), ``limits`` (points beyond limits) or ``gaps``
    (between events).
    """

    chart: str
    doubling: float
    halving: float
    rise: float


@dataclass(frozen=True)
class Plan:
    """Every kind of chart for one measure, the soonest to see a doubling first.

    Attributes
    ----------
    rate, volume : float
        Proportion or rate, and what it counts against in a month.
    proportion : bool
    false_alarm_months : float
        From one false alarm to the next, on each side; of every row the same.
    rows : tuple of PlanRow
        None where the rate leaves no room for a change.
    needed : float or None
        The volume that would see a doubling within `LONG` months; None where none would.
    """

    rate: float
    volume: float
    proportion: bool
    false_alarm_months: float
    rows: tuple[PlanRow, ...]
    needed: float | None = None

    @property
    def is_of_shortfall(self) -> bool:
        """Whether what falls short of the whole is what doubles or halves."""
        return self.proportion and self.rate > 0.5


def plan_detection(
    rate: float, volume: float, *, proportion: bool, months: float = FALSE_ALARM_MONTHS
) -> Plan:
    """Compare charts by how soon they would see a doubling, a halving and a rise by half.

    Parameters
    ----------
    rate : float
        Present proportion, or events per unit of exposure, taken as known.
    volume : float
        Catheters (proportion) or exposure (rate) a month.
    proportion : bool
    months : float
        From one false alarm to the next, on each side.
    """
    rare = min(rate, 1 - rate) if proportion else rate
    if not (rare > LEAST_RARE and volume > 0):
        return Plan(rate, volume, proportion, months, ())
    chance = rare if proportion else 0.0
    kinds: dict[str, Callable[[float, float, float, float], float]] = {
        "cusum": _by_cusum, "limits": _by_limits, "gaps": _by_gaps,
    }  # fmt: skip
    rows = [
        PlanRow(name, *(delay(rare * volume, chance, change, months) for change in CHANGES))
        for name, delay in kinds.items()
    ]
    rows.sort(key=lambda row: row.doubling)
    needed = volume
    while _by_cusum(rare * needed, chance, 2.0, months) > LONG and needed < MOST_VOLUME:
        needed *= 1.1
    return Plan(rate, volume, proportion, months, tuple(rows),
                needed if needed < MOST_VOLUME else None)  # fmt: skip


def _by_cusum(mean: float, chance: float, change: float, months: float) -> float:
    side = UP if change > 1 else DOWN
    month = Month.of(mean, chance, side)
    limit = float(
        decision_limits(np.array([mean]), np.array([chance]), side, np.array([months]))[0]
    )
    matrix = cusum_matrix(month.masses(odds_after(change, chance)), limit, BANDS)
    return run_length(matrix, settled(month, limit))


def _by_limits(mean: float, chance: float, change: float, months: float) -> float:
    """Return the delay of a limit that lies between two counts, to fit the false alarms asked."""
    trials = max(1, round(mean / chance)) if chance else 0
    x = np.arange((trials if trials else np.ceil(4 * mean + 40)) + 1)

    def chances(k: float) -> Floats:
        odds = odds_after(k, chance)
        p = mean / trials if trials else 0.0
        after = p * odds / (1 - p + p * odds)
        below = binomial_at_most(x, trials, after) if trials else poisson_at_most(x, mean * k)
        mass = np.diff(below, prepend=0.0)
        return np.asarray(mass[::-1] if change > 1 else mass)

    before, after = chances(1.0).cumsum(), chances(change)
    edge = int(np.searchsorted(before, 1 / months))
    inside = before[edge - 1] if edge else 0.0
    share = (1 / months - inside) / max(before[edge] - inside, 1e-300)
    out = after[:edge].sum() + share * after[edge]
    return float(1 / out) if out > 0 else float("inf")


def _by_gaps(mean: float, chance: float, change: float, months: float) -> float:
    """Return the delay of limits on the gap between events, each judged as it ends."""
    alarm = min(1 / (months * mean), 1.0)
    seen = 1 - (1 - alarm) ** change if change > 1 else alarm**change
    return float(1 / (mean * change * seen))
