"""Time in place and reasons of removal of a period, from the store."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from pipeline.analysis.counts import CENSORED, EventCounts, from_rows
from pipeline.analysis.incidence import incidence
from pipeline.analysis.time_in_place import time_in_place
from pipeline.disclosure import Policy
from pipeline.errors import NoDataError
from pipeline.measures.dwell_counts import REASONS, removal_rows
from pipeline.measures.periods import months_of
from pipeline.report import words
from pipeline.report.dwell_section import Removal
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

RARE = "rare"  # reasons with too few children, counted together


def removal(store: Store, months: tuple[str, str], policy: Policy) -> Removal | None:
    """Return time in place and incidence of reasons over some months of placement.

    Parameters
    ----------
    store : Store
        An open store.
    months : tuple of str
        First and last month.
    policy : Policy
        Reasons with a small count are counted together.

    Returns
    -------
    Removal or None
        None where no time in place is known.
    """
    try:
        rows = removal_rows(store, months=months)
    except NoDataError:
        return None
    rows = rows.filter(rows["hours"].is_not_null())
    return of_rows(rows, policy)


def of_rows(rows: pl.DataFrame, policy: Policy, group: str = "") -> Removal:
    """Return the estimates from counts by hour and reason."""
    totals: dict[str, int] = {}
    for reason, n in rows.select("reason", "n").drop_nulls().iter_rows():
        totals[reason] = totals.get(reason, 0) + n
    rare = rare_reasons(totals, policy.threshold)
    counts = event_counts(rows, [r for r in REASONS if r in totals and r not in rare], rare, group)
    return Removal(
        time=time_in_place(counts),
        reasons=incidence(counts),
        pooled=rare,
        midpoints=int(rows["midpoints"].sum()),
        is_withheld=bool(policy.is_small(counts.episodes)),
    )


def year_before(store: Store, quarter: str, policy: Policy) -> Removal | None:
    """Return the same for the four quarters before together."""
    first = months_of(words.quarter_before(quarter, 4))[0]
    last = months_of(words.quarter_before(quarter, 1))[1]
    return removal(store, (first, last), policy)


def rare_reasons(totals: Mapping[str, int], small_cell: int) -> tuple[str, ...]:
    """Return reasons that are counted together, so that no small count can be read.

    The smallest of the others joins them where all of them together are still few.
    """
    rare = [reason for reason, n in totals.items() if 0 < n < small_cell]
    others = sorted((n, reason) for reason, n in totals.items() if reason not in rare)
    while rare and others and sum(totals[reason] for reason in rare) < small_cell:
        rare.append(others.pop(0)[1])
    return tuple(sorted(rare))


def event_counts(
    rows: pl.DataFrame, shown: list[str], rare: tuple[str, ...], group: str = ""
) -> EventCounts:
    """Return counts for the estimators, rare reasons in one column at the end."""
    place: dict[str | None, int] = {None: CENSORED} | {r: i for i, r in enumerate(shown)}
    place |= dict.fromkeys(rare, len(shown))
    return from_rows(
        rows["hours"].to_numpy(),
        np.array([place[reason] for reason in rows["reason"]], dtype=np.int64),
        rows["n"].to_numpy(),
        [*shown, *([RARE] if rare else [])],
        group=group,
    )
