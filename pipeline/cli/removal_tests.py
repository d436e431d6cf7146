"""Tests and differences between the groups of `dwell removal`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
from pipeline.cli.removal_groups import COMPARED_HOURS, Asked, Group, followed_upto
from pipeline.disclosure.reasons import RARE
from pipeline.measures import dwell_counts
from pipeline.store import Store


@dataclass(frozen=True)
class Tests:
    """Tests between the groups; `adjusted_p` are Gray's, for several reasons looked at."""

    log_rank: GroupTest
    gray: tuple[GroupTest, ...]
    adjusted_p: tuple[float, ...]
    differences: tuple[Differences, ...]


def tests_between(
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
        [followed_upto(part, asked) for part in from_frame(stratum, reasons, groups=names)]
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
