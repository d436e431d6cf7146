"""What `dwell removal` works out: from counts to curves, tests and models."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.counts import EventCounts, from_frame, together
from pipeline.analysis.group_tests import (
    Differences,
    GroupTest,
    in_place_differences,
    incidence_differences,
    stratified_gray,
    stratified_log_rank,
)
from pipeline.analysis.hazard import (
    ClockHazard,
    CoursePart,
    HazardCurve,
    by_clock_hour,
    by_part_of_course,
    smoothed_hazard,
)
from pipeline.analysis.incidence import Incidence, TimeLost, incidence
from pipeline.analysis.interval_censored import IntervalCounts, TurnbullCurve, turnbull_curve
from pipeline.analysis.modelling import ModelResult, fit_model
from pipeline.analysis.models import Model
from pipeline.analysis.multiplicity import benjamini_hochberg
from pipeline.analysis.pump import PumpTable, pump_table
from pipeline.analysis.time_in_place import RestrictedMean, TimeInPlace, time_in_place
from pipeline.disclosure import Policy, Readable, readable, withheld_at_risk
from pipeline.disclosure.reasons import RARE, rare_reasons
from pipeline.measures import dwell_counts
from pipeline.measures.where import Condition
from pipeline.records.wording import effect_of, words_of
from pipeline.store import Store

PLANNED_H = 72.0  # the usual course
COMPARED_HOURS = (24.0, 48.0, 72.0)
CHECK_HOURS = (12.0, 24.0, 36.0, 48.0, 60.0, 72.0, 84.0, 96.0)


@dataclass(frozen=True)
class Asked:
    """What was asked for, checked as far as it can be without the store."""

    by: str | None
    strata: str | None
    where: Condition
    months: tuple[str, str] | None
    at: tuple[float, ...] | None  # None: every distinct hour
    until_h: float | None
    reason: str
    adjust: tuple[str, ...]
    model: Model
    hazard: bool
    pump: bool
    draws: bool  # figures, so that curves are needed between the hours read


@dataclass(frozen=True)
class Group:
    """One group's figures as they may be shown.

    `label` is the name as printed, `at_hours` are the hours read, `n_withheld` marks
    numbers still in place that are withheld at them, and `readable` says where the curves
    may be read. Without `time` the whole group is withheld.
    """

    name: str
    label: str
    counts: EventCounts
    time: TimeInPlace | None
    reasons: Incidence | None
    mean: RestrictedMean | None
    lost: TimeLost | None
    readable: Readable | None
    at_hours: tuple[float, ...]
    n_withheld: tuple[bool, ...]
    removed_withheld: bool
    pooled: tuple[str, ...]


@dataclass(frozen=True)
class Tests:
    """Tests between the groups; `adjusted_p` are Gray's, for several reasons looked at."""

    log_rank: GroupTest
    gray: tuple[GroupTest, ...]
    adjusted_p: tuple[float, ...]
    differences: tuple[Differences, ...]


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
    counts = tuple(_followed(part, asked) for part in from_frame(rows, dwell_counts.REASONS))
    midpoints = int(rows["midpoints"].sum())
    groups = _groups(store, counts, asked, policy)
    check = _check(store, asked, groups[0]) if midpoints and asked.by is None else None
    return RemovalResult(
        groups=groups,
        unknown=int(rows.filter(rows["hours"].is_null())["n"].sum()),
        midpoints=midpoints,
        check=check,
        tests=_tests(store, counts, groups, asked) if asked.by else None,
        model=_model(store, asked) if asked.adjust else None,
        hazard=_hazard(store, counts, asked, policy) if asked.hazard else None,
        pump=_pump(store, asked) if asked.pump else None,
    )


def _followed(counts: EventCounts, asked: Asked) -> EventCounts:
    return counts if asked.until_h is None else counts.upto(asked.until_h)


def _groups(
    store: Store, counts: Sequence[EventCounts], asked: Asked, policy: Policy
) -> tuple[Group, ...]:
    labels = dict(store.rows("select site, label from site")) if asked.by == "site" else {}
    return tuple(
        _group(part, asked, policy, labels.get(part.group) or _label(asked.by, part.group))
        for part in counts
    )


def _group(counts: EventCounts, asked: Asked, policy: Policy, label: str) -> Group:
    name = counts.group
    if bool(policy.is_small(counts.episodes)):
        return Group(name, label, counts, None, None, None, None, None, (), (), True, ())
    totals = dict(zip(counts.reasons, counts.events.sum(axis=0).tolist(), strict=True))
    rare = rare_reasons(policy, totals)
    shown = together(counts, rare, RARE)
    time, reasons = time_in_place(shown), incidence(shown)
    end = PLANNED_H if asked.until_h is None else min(PLANNED_H, asked.until_h)
    followed = shown.last_hour >= end or time.estimate[-1] == 0
    reads = _readable(shown, asked, policy)
    at = _hours_read(reads, asked)
    return Group(
        name=name,
        label=label,
        counts=shown,
        time=time,
        reasons=reasons,
        mean=time.restricted_mean(end) if followed else None,
        lost=reasons.time_lost(end) if followed else None,
        readable=reads,
        at_hours=at,
        n_withheld=tuple(withheld_at_risk(policy, shown.at_risk_at([0.0, *at]))[0, 1:].tolist()),
        removed_withheld=_is_removed_withheld(shown, reads, policy),
        pooled=rare,
    )


def _readable(counts: EventCounts, asked: Asked, policy: Policy) -> Readable:
    """Say where a group's curves may be read: where asked for, before all else, the last first."""
    hours = [h for some in (asked.at or (), COMPARED_HOURS, CHECK_HOURS) for h in reversed(some)]
    return readable(policy, counts, hours, fill=asked.draws or asked.at is None)


def _hours_read(reads: Readable, asked: Asked) -> tuple[float, ...]:
    if asked.at is None:
        return tuple(reads.hours[reads.any].tolist())
    return tuple(h for h in asked.at if asked.until_h is None or h <= asked.until_h)


def _is_removed_withheld(counts: EventCounts, reads: Readable, policy: Policy) -> bool:
    """Few removed, few not, or few since the last hour that is read."""
    until = np.append(counts.removed_at[: np.append(0, np.flatnonzero(reads.in_place) + 1)[-1]], 0)
    since = counts.removed - int(until.sum())
    return bool(policy.is_small([counts.removed, counts.episodes - counts.removed, since]).any())


def _label(by: str | None, group: str) -> str:
    """Name a group; a yes or no, and what is not recorded, by their column as well."""
    if by is not None and group in {"yes", "no", dwell_counts.NOT_RECORDED}:
        return effect_of(by, group)
    return words_of(group)


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


def _tests(
    store: Store, counts: Sequence[EventCounts], groups: Sequence[Group], asked: Asked
) -> Tests | None:
    """Compare the groups; those too small to show, or not recorded, are not among them."""
    kept = [
        (part, group)
        for part, group in zip(counts, groups, strict=True)
        if group.time is not None and group.name != dwell_counts.NOT_RECORDED
    ]
    if len(kept) < 2:
        return None
    shown = [part for part, _ in kept]
    strata = _strata(store, shown, asked) if asked.strata else [shown]
    gray = [stratified_gray(strata, reason) for reason in shown[0].reasons]
    return Tests(
        stratified_log_rank(strata),
        tuple(gray),
        tuple(benjamini_hochberg([test.p_value for test in gray]).tolist()),
        _differences(kept[0][1], kept[1][1], asked) if len(kept) == 2 else (),
    )


def _strata(
    store: Store, shown: Sequence[EventCounts], asked: Asked
) -> list[Sequence[EventCounts]]:
    """Split the groups by the stratum's column; every stratum lists every group."""
    rows = dwell_counts.removal_rows(
        store, asked.by, strata=asked.strata, where=asked.where, months=asked.months
    )
    names, reasons = [part.group for part in shown], shown[0].reasons
    rows = rows.filter(rows["group"].is_in(names))
    return [
        [_followed(part, asked) for part in from_frame(stratum, reasons, groups=names)]
        for stratum in rows.partition_by("stratum", maintain_order=True)
    ]


def _differences(first: Group, second: Group, asked: Asked) -> tuple[Differences, ...]:
    """Compare two groups in all that may be read in both."""
    hours = [h for h in COMPARED_HOURS if asked.until_h is None or h <= asked.until_h]
    if not hours:
        return ()
    pair = (first.counts, second.counts)
    found = [in_place_differences(*pair, hours)]
    may = [_readable_in_both(first, second, hours, None)]
    for reason in first.counts.reasons:
        if reason in second.counts.reasons and reason != RARE:
            found.append(incidence_differences(*pair, reason, hours))
            may.append(_readable_in_both(first, second, hours, reason))
    return tuple(part.only(at) for part, at in zip(found, may, strict=True))


def _readable_in_both(
    first: Group, second: Group, hours: Sequence[float], reason: str | None
) -> NDArray[np.bool_]:
    may = np.ones(len(hours), bool)
    for group in (first, second):
        assert group.readable is not None
        in_place, reasons = group.readable.at(hours)
        may &= in_place if reason is None else reasons[:, group.counts.index_of(reason)]
    return may


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
