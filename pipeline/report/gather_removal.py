"""Time in place and reasons of removal of a quarter, from the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline.analysis.counts import CENSORED, EventCounts, from_rows
from pipeline.analysis.incidence import incidence
from pipeline.analysis.time_in_place import time_in_place
from pipeline.report import words
from pipeline.report.dwell_section import Removal
from pipeline.store import Store

RARE = "rare"  # reasons with too few children, counted together


def removal(store: Store, quarters: Sequence[str], small_cell: int) -> Removal | None:
    """Return time in place and incidence of reasons over some quarters.

    Parameters
    ----------
    store : Store
        An open store.
    quarters : sequence of str
        Quarters of placement.
    small_cell : int
        Reasons with 1 to one fewer catheters are counted together; 0 shows all.
    """
    marks = ", ".join("?" for _ in quarters)
    rows = store.rows(
        "select dwell_h, reason, count(*), count(case when dwell_basis = 'interval' then 1 end)"
        f" from episode_dwell where placed_quarter in ({marks}) and is_dwell_known"
        " group by dwell_h, reason order by dwell_h, reason",
        list(quarters),
    )
    if not rows:
        return None
    totals: dict[str, int] = {}
    for _, reason, n, _ in rows:
        if reason is not None:
            totals[reason] = totals.get(reason, 0) + n
    rare = rare_reasons(totals, small_cell)
    counts = _counts(rows, [r for r in _order(totals) if r not in rare], rare)
    withheld = counts.episodes < small_cell
    return Removal(
        time=time_in_place(counts),
        reasons=incidence(counts),
        pooled=rare,
        midpoints=sum(row[3] for row in rows),
        is_withheld=withheld,
    )


def rare_reasons(totals: Mapping[str, int], small_cell: int) -> tuple[str, ...]:
    """Return reasons that are counted together, so that no small count can be read.

    The smallest of the others joins them where all of them together are still few.
    """
    rare = [reason for reason, n in totals.items() if 0 < n < small_cell]
    others = sorted((n, reason) for reason, n in totals.items() if reason not in rare)
    while rare and others and sum(totals[reason] for reason in rare) < small_cell:
        rare.append(others.pop(0)[1])
    return tuple(sorted(rare))


def year_before(store: Store, quarter: str, small_cell: int) -> Removal | None:
    """Return the same for the four quarters before together."""
    quarters = [words.quarter_before(quarter, back) for back in range(1, 5)]
    return removal(store, quarters, small_cell)


def _order(totals: dict[str, int]) -> list[str]:
    """Return reasons in the layout's order, the unrecorded last."""
    from pipeline.records.codes import RemovalReason

    known = [reason.value for reason in RemovalReason]
    return [r for r in [*known, "not_recorded"] if r in totals]


def _counts(
    rows: Sequence[tuple[float, str | None, int, int]], shown: list[str], rare: tuple[str, ...]
) -> EventCounts:
    reasons = [*shown, *([RARE] if rare else [])]
    place: dict[str | None, int] = {None: CENSORED} | {reason: i for i, reason in enumerate(shown)}
    place |= dict.fromkeys(rare, len(shown))
    return from_rows(
        [row[0] for row in rows],
        [place[row[1]] for row in rows],
        [row[2] for row in rows],
        reasons,
    )
