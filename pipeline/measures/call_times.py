"""When families called while their catheter was in place, an episode and a call at a time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.errors import NoDataError
from pipeline.measures.dimensions import NOT_RECORDED, grouped_by
from pipeline.measures.dwell_counts import EPISODES, episode_condition, term_columns
from pipeline.measures.where import Condition
from pipeline.store import Store, ready

if TYPE_CHECKING:
    import polars as pl

CALLS = "select episode_id, at_h from contact where direction = 'family'"


def call_rows(
    store: Store,
    by: str | None,
    terms: Sequence[str],
    *,
    where: Condition,
    months: tuple[str, str] | None,
) -> tuple[pl.DataFrame, pl.DataFrame, int]:
    """Return episodes whose calls are known, their calls in place, and how many came later.

    Left out are catheters of unknown dwell, and months of a site that sent no contacts at
    all. Episodes have a number in `episode`, their child's in `child`, `hours` in place,
    `group` (empty text without `by`) and the terms; calls have `episode` and `hours`.

    Raises
    ------
    UsageError
        Episodes cannot be grouped so, or a model not adjusted so.
    NoDataError
        No such episode is left.
    """
    condition, params = episode_condition(where, months)
    group = "''" if by is None else f"coalesce({grouped_by(by).as_text}, '{NOT_RECORDED}')"
    chosen = (
        f'select number, episode_id, child_key, dwell_h, {group} as "group"'
        f"{term_columns(terms)} from {EPISODES} where is_dwell_known and {condition}"
        f" and number in (select number from {ready('contact_summary')}"
        " where family_calls is not null)"
    )
    episodes = store.frame(
        "select number as episode, dense_rank() over (order by child_key) - 1 as child,"
        " dwell_h as hours, * exclude (number, episode_id, child_key, dwell_h)"
        f" from ({chosen}) order by child, hours, episode",
        params,
    )
    if episodes.is_empty():
        raise NoDataError(
            "No episode with a known dwell and a record of calls fits what was asked.",
            try_next="dwell status",
        )
    calls = store.frame(
        "select number as episode, at_h as hours, at_h <= dwell_h as is_in_place"
        f" from ({chosen}) inner join ({CALLS}) using (episode_id) order by all",
        params,
    )
    in_place = calls.filter("is_in_place").drop("is_in_place")
    return episodes, in_place, calls.height - in_place.height
