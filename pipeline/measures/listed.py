"""Serious events and improvement actions, listed as they stand in the store."""

from typing import TYPE_CHECKING

from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl


def event_rows(store: Store, months: tuple[str, str], settings: Settings) -> "pl.DataFrame":
    """Return the serious events of months of placement, in the order of placement."""
    store.put_settings(settings)
    return store.frame(
        "select event_key, site, site_label, placed_month, at_h, kind, source, is_reviewed,"
        " reviewed_month from serious_event where placed_month between ? and ?"
        " order by placed_month, site, at_h, event_key",
        list(months),
    )


def action_rows(store: Store, until: str) -> "pl.DataFrame":
    """Return the actions decided up to a month, the soonest due first."""
    return store.frame(
        "select action_id, decided_month, title, owner_role, due_month, state, measures,"
        " coalesce(state = 'open' and due_month <= ?, false) as is_overdue from action"
        " where decided_month <= ? order by due_month nulls last, action_id",
        [until, until],
    )
