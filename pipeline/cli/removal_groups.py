"""The groups of `dwell removal`, as they may be shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.survival.event_counts import EventCounts, together
from pipeline.analysis.survival.incidence import Incidence, TimeLost, incidence
from pipeline.analysis.survival.model_data import Model
from pipeline.analysis.survival.time_in_place import RestrictedMean, TimeInPlace, time_in_place
from pipeline.disclosure import Policy, Readable, readable, withheld_at_risk
from pipeline.disclosure.reasons import RARE, rare_reasons
from pipeline.measures.dimensions import NOT_RECORDED, group_labels
from pipeline.measures.where import Condition
from pipeline.store import Store
from pipeline.words.codes import effect_of, words_of

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


def followed_upto(counts: EventCounts, asked: Asked) -> EventCounts:
    """Return the counts followed no longer than was asked."""
    return counts if asked.until_h is None else counts.upto(asked.until_h)


def groups_of(
    store: Store, counts: Sequence[EventCounts], asked: Asked, policy: Policy
) -> tuple[Group, ...]:
    """Estimate each group's curves, and say what of them may be shown."""
    labels = group_labels(store, asked.by)
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
    if by is not None and group in {"yes", "no", NOT_RECORDED}:
        return effect_of(by, group)
    return words_of(group)
