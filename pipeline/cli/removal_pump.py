"""Rows of the pump's table as they may be shown."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.analysis.survival.pump import PumpRow, PumpTable
from pipeline.disclosure import Policy


def pump_hidden(table: PumpTable, policy: Policy) -> list[tuple[bool, bool]]:
    """Say for each flow rate, then all rates, whether its outcomes and all of it are withheld.

    One rate alone cannot be withheld: it is all rates less the others.
    """
    rows = (*table.rows, table.all_rates)
    few = [bool(policy.is_small(row.catheters)) for row in rows]
    outcomes = [bool(policy.is_small(_outcomes(row)).any()) for row in rows]
    for hidden in (few, outcomes):
        others = [i for i in range(len(table.rows)) if not hidden[i]]
        if sum(hidden[:-1]) == 1 and others:
            hidden[min(others, key=lambda i: table.rows[i].catheters)] = True
    return [(one or other, one) for one, other in zip(few, outcomes, strict=True)]


def _outcomes(row: PumpRow) -> tuple[int, ...]:
    return (row.emptied_early, row.together, row.drug_left)


def pump_rows(table: PumpTable, policy: Policy) -> list[dict[str, Any]]:
    """Return a row a flow rate, then all rates (`rate_ml_h` null), few catheters withheld."""
    hidden = pump_hidden(table, policy)
    rows = (*table.rows, table.all_rates)
    return [
        pump_row(row, hide_outcomes=outcomes, hide_all=everything)
        for row, (outcomes, everything) in zip(rows, hidden, strict=True)
    ]


def pump_row(row: PumpRow, *, hide_outcomes: bool, hide_all: bool) -> dict[str, Any]:
    """Return one flow rate's row, without the figures that are withheld."""

    def outcome(value: float) -> float | None:
        return None if hide_outcomes else _number(value)

    def shown(value: float) -> float | None:
        return None if hide_all else _number(value)

    return {
        "rate_ml_h": _number(row.rate_ml_h),
        "catheters": None if hide_all else row.catheters,
        "emptied_early": None if hide_outcomes else row.emptied_early,
        "together": None if hide_outcomes else row.together,
        "drug_left": None if hide_outcomes else row.drug_left,
        "emptied_early_pct": outcome(row.emptied_early_pct[0]),
        "emptied_early_lower": outcome(row.emptied_early_pct[1]),
        "emptied_early_upper": outcome(row.emptied_early_pct[2]),
        "drug_left_pct": outcome(row.drug_left_pct[0]),
        "drug_left_lower": outcome(row.drug_left_pct[1]),
        "drug_left_upper": outcome(row.drug_left_pct[2]),
        "median_runtime_h": shown(row.median_runtime_h),
        "median_dwell_h": shown(row.median_dwell_h),
        "median_empty_h": outcome(row.median_empty_h),
        "median_left_ml": outcome(row.median_left_ml),
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
