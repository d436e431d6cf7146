"""The groups of an answer on removal: their curves, and tests between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.analysis.rates.multiplicity import benjamini_hochberg
from pipeline.analysis.survival.event_counts import EventCounts, from_frame
from pipeline.analysis.survival.group_tests import (
    Differences,
    GroupTest,
    in_place_differences,
    incidence_differences,
    stratified_gray,
    stratified_log_rank,
)
from pipeline.analysis.survival.incidence import Incidence, TimeLost, incidence
from pipeline.analysis.survival.time_in_place import RestrictedMean, TimeInPlace, time_in_place
from pipeline.measures import dwell_counts
from pipeline.measures.dimensions import NOT_RECORDED, group_labels
from pipeline.measures.where import Condition
from pipeline.store import Store
from pipeline.words.codes import effect_of, words_of

PLANNED_H = 72.0  # the usual course
COMPARED_HOURS = (24.0, 48.0, 72.0)


@dataclass(frozen=True)
class RemovalGroup:
    """One group's curves.

    `label` is the name as printed and `at_hours` are the hours read. Mean and time lost
    are None where follow-up ends before the hour that they are restricted to.
    """

    name: str
    label: str
    counts: EventCounts
    time: TimeInPlace
    reasons: Incidence
    mean: RestrictedMean | None
    lost: TimeLost | None
    at_hours: tuple[float, ...]


@dataclass(frozen=True)
class RemovalTests:
    """Tests between the groups; `adjusted_p` are Gray's, for several reasons looked at."""

    log_rank: GroupTest
    gray: tuple[GroupTest, ...]
    adjusted_p: tuple[float, ...]
    differences: tuple[Differences, ...]


@dataclass(frozen=True)
class RemovalAsked:
    """What was asked for, checked as far as it can be without the store."""

    by: str | None
    strata: str | None
    random: str | None
    where: Condition
    months: tuple[str, str] | None
    at: tuple[float, ...] | None
    until_h: float | None
    reason: str

    def followed(self, counts: EventCounts) -> EventCounts:
        """Return the counts followed no longer than was asked."""
        return counts if self.until_h is None else counts.upto(self.until_h)

    @property
    def end(self) -> float:
        """Hour that means and risks are told to."""
        return PLANNED_H if self.until_h is None else min(PLANNED_H, self.until_h)


def removal_groups(
    store: Store, counts: Sequence[EventCounts], asked: RemovalAsked
) -> tuple[RemovalGroup, ...]:
    """Estimate each group's curves."""
    labels = group_labels(store, asked.by)
    return tuple(
        _group(part, asked, labels.get(part.group) or group_name(asked.by, part.group))
        for part in counts
    )


def _group(counts: EventCounts, asked: RemovalAsked, label: str) -> RemovalGroup:
    time, reasons = time_in_place(counts), incidence(counts)
    followed = counts.last_hour >= asked.end or time.estimate[-1] == 0
    at = counts.hours.tolist() if asked.at is None else asked.at
    return RemovalGroup(
        name=counts.group,
        label=label,
        counts=counts,
        time=time,
        reasons=reasons,
        mean=time.restricted_mean(asked.end) if followed else None,
        lost=reasons.time_lost(asked.end) if followed else None,
        at_hours=tuple(h for h in at if asked.until_h is None or h <= asked.until_h),
    )


def group_name(by: str | None, group: str) -> str:
    """Name a group; what does not speak for itself by its column as well."""
    if by == "planned_course" and group != NOT_RECORDED:
        return f"planned {group}"
    if by is not None and group in {"yes", "no", NOT_RECORDED}:
        return effect_of(by, group)
    return words_of(group)


def removal_tests(
    store: Store, counts: Sequence[EventCounts], asked: RemovalAsked
) -> RemovalTests | None:
    """Compare the groups; those of which the column is not recorded are not among them."""
    kept = [part for part in counts if part.group != NOT_RECORDED]
    if len(kept) < 2:
        return None
    strata = _strata(store, kept, asked) if asked.strata else [kept]
    gray = [stratified_gray(strata, reason) for reason in kept[0].reasons]
    return RemovalTests(
        stratified_log_rank(strata),
        tuple(gray),
        tuple(benjamini_hochberg([test.p_value for test in gray]).tolist()),
        _differences(kept[0], kept[1], asked) if len(kept) == 2 else (),
    )


def _strata(
    store: Store, kept: Sequence[EventCounts], asked: RemovalAsked
) -> list[Sequence[EventCounts]]:
    """Split the groups by the stratum's column; every stratum lists every group."""
    rows = dwell_counts.removal_rows(
        store, asked.by, strata=asked.strata, where=asked.where, months=asked.months
    )
    names, reasons = [part.group for part in kept], kept[0].reasons
    rows = rows.filter(rows["group"].is_in(names))
    return [
        [asked.followed(part) for part in from_frame(stratum, reasons, groups=names)]
        for stratum in rows.partition_by("stratum", maintain_order=True)
    ]


def _differences(
    first: EventCounts, second: EventCounts, asked: RemovalAsked
) -> tuple[Differences, ...]:
    hours = [h for h in COMPARED_HOURS if asked.until_h is None or h <= asked.until_h]
    if not hours:
        return ()
    reasons = (incidence_differences(first, second, r, hours) for r in first.reasons)
    return (in_place_differences(first, second, hours), *reasons)
