"""The pump's expected run-time against time in place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.rates import intervals
from pipeline.analysis.survival.event_counts import Floats

# Elastomeric pumps deliver within about 15% of their labelled rate (common practice, no
# source), so an end within this share of the expected run-time counts as together.
FLOW_TOLERANCE = 0.15


@dataclass(frozen=True)
class PumpRow:
    """Catheters at one flow rate.

    Attributes
    ----------
    rate_ml_h : float
        Flow rate; NaN in the row of all rates.
    catheters : int
        Catheters whose outcome can be told.
    untold : int
        Last known in place before the pump could be empty.
    emptied_early, together, drug_left : int
        Pump empty well before removal, at about its time, or well after it.
    emptied_early_pct, drug_left_pct : tuple of float
        Percentage with Wilson limits: (estimate, lower, upper).
    median_runtime_h, median_dwell_h : float
    median_empty_h : float
        Hours in place after the pump was empty, among those emptied early.
    median_left_ml : float
        Drug left in the pump, among those removed with drug left.
    """

    rate_ml_h: float
    catheters: int
    untold: int
    emptied_early: int
    together: int
    drug_left: int
    emptied_early_pct: tuple[float, float, float]
    drug_left_pct: tuple[float, float, float]
    median_runtime_h: float
    median_dwell_h: float
    median_empty_h: float
    median_left_ml: float


@dataclass(frozen=True)
class PumpTable:
    """One row a flow rate, ascending, then all rates; `without_runtime` were left out."""

    rows: tuple[PumpRow, ...]
    all_rates: PumpRow
    without_runtime: int


def pump_table(
    rate_ml_h: ArrayLike,
    reservoir_ml: ArrayLike,
    dwell_h: ArrayLike,
    is_removed: ArrayLike,
    n: ArrayLike,
) -> PumpTable:
    """Compare reservoir ÷ rate with time in place, by flow rate.

    A bolus, a clamp or a refill is not recorded, so this says what to expect of the
    pump, not what it did.

    Parameters
    ----------
    rate_ml_h, reservoir_ml : array_like, shape (r,)
        NaN where not recorded; a rate of zero has no run-time.
    dwell_h : array_like, shape (r,)
        Hours in place.
    is_removed : array_like of bool, shape (r,)
        False where `dwell_h` is the last hour known in place.
    n : array_like, shape (r,)
        Episodes that each row stands for.
    """
    rate, volume = np.asarray(rate_ml_h, float), np.asarray(reservoir_ml, float)
    dwell, removed = np.asarray(dwell_h, float), np.asarray(is_removed, bool)
    count = np.asarray(n, float)
    usable = (rate > 0) & np.isfinite(volume) & np.isfinite(dwell)
    left_out = int(count[~usable].sum())
    pumps = _Pumps(rate[usable], volume[usable], dwell[usable], removed[usable], count[usable])
    rows = tuple(pumps.at(pumps.rate == value).row(float(value)) for value in np.unique(pumps.rate))
    return PumpTable(rows, pumps.row(float("nan")), left_out)


@dataclass(frozen=True)
class _Pumps:
    rate: Floats
    volume: Floats
    dwell: Floats
    removed: np.ndarray
    n: Floats

    def at(self, which: np.ndarray) -> _Pumps:
        return _Pumps(
            self.rate[which],
            self.volume[which],
            self.dwell[which],
            self.removed[which],
            self.n[which],
        )

    def row(self, rate: float) -> PumpRow:
        runtime = self.volume / self.rate
        slack = FLOW_TOLERANCE * runtime
        emptied = self.dwell > runtime + slack
        left = self.removed & (self.dwell < runtime - slack)
        together = self.removed & ~emptied & ~left
        told = emptied | left | together
        catheters = int(self.n[told].sum())
        numbers = [int(self.n[which].sum()) for which in (emptied, together, left)]
        return PumpRow(
            rate_ml_h=rate,
            catheters=catheters,
            untold=int(self.n[~told].sum()),
            emptied_early=numbers[0],
            together=numbers[1],
            drug_left=numbers[2],
            emptied_early_pct=_percentage(numbers[0], catheters),
            drug_left_pct=_percentage(numbers[2], catheters),
            median_runtime_h=_median(runtime[told], self.n[told]),
            median_dwell_h=_median(self.dwell[told], self.n[told]),
            median_empty_h=_median((self.dwell - runtime)[emptied], self.n[emptied]),
            median_left_ml=_median((self.volume - self.dwell * self.rate)[left], self.n[left]),
        )


def _percentage(count: int, of: int) -> tuple[float, float, float]:
    limits = intervals.wilson(count, of)
    share = count / of if of else float("nan")
    return 100 * share, 100 * float(limits.lower), 100 * float(limits.upper)


def _median(values: Floats, n: Floats) -> float:
    """Median of values that each stand for `n` catheters; NaN without any."""
    if not len(values):
        return float("nan")
    order = np.argsort(values)
    running = np.cumsum(n[order])
    half = running[-1] / 2
    low = values[order][np.searchsorted(running, half, "left")]
    high = values[order][np.searchsorted(running, half, "right")]
    return float((low + high) / 2)
