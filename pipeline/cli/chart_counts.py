"""Counts as a chart takes them, with what may not be shown marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pipeline.analysis.charts import Change, Counts
from pipeline.analysis.charts.phases import PhasePlan, plan_phases
from pipeline.analysis.charts.rare import gaps
from pipeline.analysis.charts.results import Flags, Ints
from pipeline.errors import UsageError
from pipeline.measures.catalogue import Measure

if TYPE_CHECKING:
    import polars as pl

    from pipeline.disclosure import Policy


def planned(
    counts: Counts, changes: Sequence[Change], baseline: tuple[str, str] | None
) -> PhasePlan:
    """Return the phases of a series; raises `UsageError` for a baseline outside the data."""
    try:
        return plan_phases(counts, changes, baseline)
    except ValueError as error:
        raise usage_error(error, counts) from None


def usage_error(error: ValueError, counts: Counts) -> UsageError:
    """Return what a chart cannot do as the user's to correct."""
    said = str(error)
    ends = f"{counts.periods[0]}..{counts.periods[-1]}" if counts.periods else "FIRST..LAST"
    return UsageError(f"{said[0].upper()}{said[1:]}.", try_next=f"--baseline {ends}")


def period_counts(part: pl.DataFrame, period: str, measure: Measure, kind: str) -> Counts:
    """Return counts by month or quarter; for individuals the rate itself."""
    numerator = part["numerator"].to_numpy().astype(float)
    denominator = part["denominator"].to_numpy().astype(float)
    if kind == "individuals":
        there = denominator > 0
        rate = measure.multiplier * numerator / np.where(there, denominator, 1.0)
        numerator, denominator = np.where(there, rate, 0.0), there.astype(float)
    return Counts(tuple(part[period]), numerator, denominator, part["provisional"].to_numpy())


def gap_counts(events: pl.DataFrame, kind: str) -> Counts:
    """Return the gap before each event, in episode order across months.

    The wait since the last event is still running: it is a provisional point.
    """
    running = events["catheters" if kind == "g" else "catheter_days"].to_numpy()
    is_open = events["numerator"].to_numpy() == 0
    # The catheter at the end of the records had no event, so it belongs to the wait.
    between = gaps(running, between=kind == "g") + (is_open & (kind == "g"))
    return Counts(
        tuple(events["month"]),
        np.maximum(between, 0.0),
        np.ones(len(events)),
        events["provisional"].to_numpy() | is_open,
    )


def withhold(
    counts: Counts, part: pl.DataFrame, measure: Measure, plan: PhasePlan, *, policy: Policy
) -> Counts:
    """Mark the months or quarters that may not be shown, and what would give them away.

    A centre line is a sum in disguise, so among the points behind each one no point
    is withheld alone.
    """
    if policy.is_confidential:
        return counts
    is_proportion = measure.denominator_kind == "proportion"
    hidden = _hidden(policy, part, np.arange(len(part)), is_proportion=is_proportion)
    for owner in np.unique(plan.limit_set):
        behind = np.flatnonzero(plan.baseline & (plan.limit_set == owner))
        hidden[behind] |= _hidden(policy, part, behind, is_proportion=is_proportion)
    return replace(counts, suppressed=hidden)


def _hidden(policy: Policy, part: pl.DataFrame, rows: Ints, *, is_proportion: bool) -> Flags:
    """Say which of some rows to withhold, their sum being known."""
    from pipeline.disclosure import withheld_rows

    if rows.size == 0:
        return np.zeros(0, bool)
    found = withheld_rows(
        policy,
        with_event=part["with_event"].to_numpy()[rows],
        episodes=part["ascertained"].to_numpy()[rows],
        is_proportion=is_proportion,
    )
    return np.asarray(found.figures | found.episodes)
