"""Time in place and reasons of removal of a period, from the store."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.analysis.survival.event_counts import EventCounts, from_frame, together
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.time_in_place import time_in_place
from pipeline.disclosure import Policy, readable, withheld_at_risk
from pipeline.disclosure.reasons import RARE, rare_reasons
from pipeline.errors import NoDataError
from pipeline.measures.dwell_counts import REASONS, removal_rows
from pipeline.measures.periods import months_of
from pipeline.report.dwell_section import HOURS, Removal
from pipeline.store import Store
from pipeline.words import numbers as words

if TYPE_CHECKING:
    import polars as pl


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
    return of_rows(rows.drop_nulls("hours"), policy)


def of_rows(rows: pl.DataFrame, policy: Policy) -> Removal:
    """Return the estimates from counts by hour and reason."""
    (counts,) = from_frame(rows, REASONS)
    rare = rare_reasons(policy, totals_of(counts))
    shown = together(counts, rare, RARE)
    return Removal(
        time=time_in_place(shown),
        reasons=incidence(shown),
        readable=readable(policy, shown, HOURS[::-1], fill=True),
        n_withheld=withheld_at_risk(policy, shown.at_risk_at([0.0, *HOURS]))[0, 1:],
        pooled=rare,
        midpoints=int(rows["midpoints"].sum()),
        is_withheld=bool(policy.is_small(counts.episodes)),
    )


def totals_of(counts: EventCounts) -> dict[str, int]:
    """Return catheters removed by reason."""
    return dict(zip(counts.reasons, counts.events.sum(axis=0).tolist(), strict=True))


def year_before(store: Store, quarter: str, policy: Policy) -> Removal | None:
    """Return the same for the four quarters before together."""
    first = months_of(words.quarter_before(quarter, 4))[0]
    last = months_of(words.quarter_before(quarter, 1))[1]
    return removal(store, (first, last), policy)
