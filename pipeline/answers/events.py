"""Serious events: every one listed, and those that nobody has reviewed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.measures.dimensions import check_sites
from pipeline.measures.listed import event_rows
from pipeline.measures.periods import checked_months
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    from pipeline.figures.look import Drawing


@dataclass(frozen=True, eq=False)
class EventList:
    """The serious events of some sites and months of placement.

    Attributes
    ----------
    rows : polars.DataFrame
        A row an event, in the order of placement: `event_key`, `site`, `site_label`,
        `placed_month`, `at_h`, `kind`, `source`, `is_reviewed`, `reviewed_month`.
    """

    rows: pl.DataFrame

    @property
    def count(self) -> int:
        """How many there are."""
        return self.rows.height

    @property
    def not_reviewed(self) -> pl.DataFrame:
        """The rows of those not reviewed."""
        return self.rows.filter(~pl.col("is_reviewed"))

    def by_kind(self) -> pl.DataFrame:
        """Return a row a kind: `kind`, `events`, `not_reviewed`, the most frequent first."""
        return (
            self.rows.group_by("kind")
            .agg(events=pl.len(), not_reviewed=(~pl.col("is_reviewed")).sum())
            .sort("events", "kind", descending=[True, False])
        )

    def frame(self) -> pl.DataFrame:
        """Return the rows."""
        return self.rows

    def figure(self) -> Drawing:
        """Return the events by month of placement, those not reviewed marked."""
        from pipeline.figures.events import events_figure

        return events_figure(self.rows)

    def as_json(self) -> dict[str, Any]:
        """Return how many there are, by kind and each."""
        return {
            "events": self.count,
            "not_reviewed": self.not_reviewed.height,
            "by_kind": self.by_kind().to_dicts(),
            "rows": self.rows.to_dicts(),
        }


def serious_events(
    store: Store,
    *,
    sites: Sequence[str] = (),
    first: str | None = None,
    last: str | None = None,
    settings: Settings | None = None,
) -> EventList:
    """Return the serious events of sites and months of placement.

    Parameters
    ----------
    store : Store
        An open store.
    sites : sequence of str
        Codes; all sites where there are none.
    first, last : str, optional
        First and last month of placement, YYYY-MM.
    settings : Settings, optional
        Hold the tiers of symptoms; the defaults unless given.

    Raises
    ------
    UsageError
        A month is none.
    NoDataError
        A site is unknown.
    """
    check_sites(store, sites)
    months = checked_months(first, last) or ("", "9999-12")
    frame = event_rows(store, months, settings or Settings())
    return EventList(frame.filter(pl.col("site").is_in(list(sites))) if sites else frame)
