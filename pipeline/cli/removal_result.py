"""What `dwell removal` works out: from counts to curves, tests and models."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.survival.event_counts import EventCounts, from_frame
from pipeline.analysis.survival.hazard import (
    ClockHazard,
    CoursePart,
    HazardCurve,
    by_clock_hour,
    by_part_of_course,
    smoothed_hazard,
)
from pipeline.analysis.survival.interval_censored import (
    IntervalCounts,
    TurnbullCurve,
    turnbull_curve,
)
from pipeline.analysis.survival.modelling import ModelResult, fit_model
from pipeline.analysis.survival.pump import PumpTable, pump_table
from pipeline.cli.removal_groups import (
    CHECK_HOURS,
    PLANNED_H,
    Asked,
    Group,
    followed_upto,
    groups_of,
)
from pipeline.cli.removal_tests import Tests, tests_between
from pipeline.disclosure import Policy
from pipeline.measures import dwell_counts
from pipeline.store import Store


@dataclass(frozen=True)
class Hazard:
    """When catheters came out for one reason."""

    curves: tuple[HazardCurve, ...]
    clock: ClockHazard | None
    parts: tuple[CoursePart, ...]


@dataclass(frozen=True)
class RemovalResult:
    """Everything that was asked; parts not asked for are None."""

    groups: tuple[Group, ...]
    unknown: int
    midpoints: int
    check: TurnbullCurve | None
    tests: Tests | None
    model: ModelResult | None
    hazard: Hazard | None
    pump: PumpTable | None


def removal_result(store: Store, asked: Asked, policy: Policy) -> RemovalResult:
    """Work out what was asked.

    Raises
    ------
    UsageError
        A column or reason is unknown.
    NoDataError
        No episode with a known dwell is left.
    """
    rows = dwell_counts.removal_rows(store, asked.by, where=asked.where, months=asked.months)
    counts = tuple(followed_upto(part, asked) for part in from_frame(rows, dwell_counts.REASONS))
    midpoints = int(rows["midpoints"].sum())
    groups = groups_of(store, counts, asked, policy)
    check = _check(store, asked, groups[0]) if midpoints and asked.by is None else None
    return RemovalResult(
        groups=groups,
        unknown=int(rows.filter(rows["hours"].is_null())["n"].sum()),
        midpoints=midpoints,
        check=check,
        tests=tests_between(store, counts, groups, asked) if asked.by else None,
        model=_model(store, asked) if asked.adjust else None,
        hazard=_hazard(store, counts, asked, policy) if asked.hazard else None,
        pump=_pump(store, asked) if asked.pump else None,
    )


def _check(store: Store, asked: Asked, group: Group) -> TurnbullCurve | None:
    if group.readable is None:
        return None
    rows = dwell_counts.interval_rows(store, where=asked.where, months=asked.months)
    counts = IntervalCounts(
        rows["after_h"].to_numpy(), rows["before_h"].to_numpy(), rows["n"].to_numpy()
    )
    until = asked.until_h or max(CHECK_HOURS)
    hours = np.array(sorted(h for h in {*CHECK_HOURS, *(asked.at or ())} if h <= until))
    hours = hours[group.readable.at(hours)[0]]
    return turnbull_curve(counts, hours) if len(hours) else None


def _model(store: Store, asked: Asked) -> ModelResult:
    rows = dwell_counts.model_rows(store, asked.adjust, where=asked.where, months=asked.months)
    hour = PLANNED_H if asked.until_h is None else min(PLANNED_H, asked.until_h)
    return fit_model(rows, asked.adjust, asked.reason, model=asked.model, hour=hour)


def _hazard(store: Store, counts: Sequence[EventCounts], asked: Asked, policy: Policy) -> Hazard:
    until = asked.until_h or 96.0
    curves = tuple(
        smoothed_hazard(part, asked.reason, until_h=until)
        for part in counts
        if asked.reason in part.reasons and not _has_few(part, asked.reason, policy)
    )
    rows = dwell_counts.clock_rows(store, where=asked.where, months=asked.months)
    if rows.is_empty():
        return Hazard(curves, None, ())
    course = (
        rows["placed_hour"].to_numpy(),
        rows["dwell_h"].to_numpy(),
        rows["reason"].eq_missing(asked.reason).to_numpy(),
        rows["n"].to_numpy(),
    )
    return Hazard(curves, by_clock_hour(*course, reason=asked.reason), by_part_of_course(*course))


def _has_few(counts: EventCounts, reason: str, policy: Policy) -> bool:
    """Few children, or few removed for the reason: each would stand out in a curve."""
    removed = counts.events[:, counts.index_of(reason)].sum()
    return bool(policy.is_small([counts.episodes, removed]).any())


def _pump(store: Store, asked: Asked) -> PumpTable:
    rows = dwell_counts.pump_rows(store, where=asked.where, months=asked.months)
    return pump_table(
        rows["rate_ml_h"].fill_null(float("nan")).to_numpy(),
        rows["reservoir_ml"].fill_null(float("nan")).to_numpy(),
        rows["dwell_h"].to_numpy(),
        rows["is_removed"].to_numpy(),
        rows["n"].to_numpy(),
    )
