"""Improvement actions: what was decided, whose it is, and what is overdue."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.measures.listed import action_rows
from pipeline.store import Store

if TYPE_CHECKING:
    from pipeline.figures.look import Drawing


@dataclass(frozen=True, eq=False)
class ActionList:
    """The improvement actions as they stood at the end of a month.

    Attributes
    ----------
    rows : polars.DataFrame
        A row an action, the soonest due first: `action_id`, `decided_month`, `title`,
        `owner_role`, `due_month`, `state`, `measures`, `is_overdue`.
    """

    rows: pl.DataFrame

    @property
    def overdue(self) -> pl.DataFrame:
        """The rows of those that are open after the month in which they were due."""
        return self.rows.filter("is_overdue")

    def frame(self) -> pl.DataFrame:
        """Return the rows."""
        return self.rows

    def figure(self) -> Drawing:
        """Return the actions drawn from decision to due month."""
        from pipeline.figures.events import actions_figure

        return actions_figure(self.rows)

    def as_json(self) -> dict[str, Any]:
        """Return each action, and how many are overdue."""
        return {"overdue": self.overdue.height, "rows": self.rows.to_dicts()}


def improvement_actions(store: Store, until: str) -> ActionList:
    """Return the actions decided up to a month.

    Parameters
    ----------
    store : Store
        An open store.
    until : str
        Month, YYYY-MM: later decisions are left out, and an open action that was due in it
        or earlier is overdue.
    """
    return ActionList(action_rows(store, until))
