"""How well a case-mix model tells children apart, and how well its numbers fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.comparison.cross_fit import GroupPatterns
from pipeline.analysis.comparison.pattern_counts import added
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]

CALIBRATION_BINS = 10


@dataclass(frozen=True)
class Calibration:
    """Observed against expected in tenths of predicted risk, lowest first."""

    denominator: Floats
    observed: Floats
    expected: Floats


@dataclass(frozen=True)
class _ByRisk:
    """Units, events and expected events at each distinct predicted risk, ascending."""

    units: Floats
    events: Floats
    expected: Floats


def _by_risk(table: GroupPatterns, mean: Floats) -> _ByRisk:
    expected = (table.units * mean).sum(axis=1)
    scale = table.events.sum(axis=1) / np.where(expected > 0, expected, 1.0)
    own = mean * scale[:, None]
    _, rank = np.unique(np.round(own.ravel(), 12), return_inverse=True)
    parts = (table.units, table.events, table.units * own)
    return _ByRisk(*(added(weights.ravel(), rank) for weights in parts))


def concordance(table: GroupPatterns, mean: Floats, kind: Kind) -> float:
    """Chance that an event outranks a non-event of its group by predicted risk, ties half."""
    order = np.argsort(mean, axis=1, kind="stable")
    events, units = (np.take_along_axis(a, order, axis=1) for a in (table.events, table.units))
    others = units - events if kind == "proportion" else units
    below = np.cumsum(others, axis=1) - others / 2
    pairs = float((events.sum(axis=1) * others.sum(axis=1)).sum())
    return float((events * below).sum()) / pairs if pairs > 0 else float("nan")


def calibrate(table: GroupPatterns, mean: Floats) -> Calibration:
    """Add predictions up into bins of like volume, each group's scaled to its own total."""
    risk = _by_risk(table, mean)
    middle = np.cumsum(risk.units) - risk.units / 2
    share = middle / max(risk.units.sum(), 1e-9)
    bins = np.minimum((share * CALIBRATION_BINS).astype(int), CALIBRATION_BINS - 1)
    units, events, expected = (
        added(weights, bins) for weights in (risk.units, risk.events, risk.expected)
    )
    filled = units > 0
    return Calibration(units[filled], events[filled], expected[filled])
