"""The improvement log: what was changed, when, where, and which measures it aims at."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.periods import LATEST, quarter_of
from pipeline.store import Store

ALL = "all"


@dataclass(frozen=True, slots=True)
class LoggedChange:
    """An entry of the improvement log.

    Attributes
    ----------
    change_id, started_month, title : str
        As logged.
    sites : tuple of str
        Codes of the sites that made it; empty for all sites.
    measures : tuple of str
        Names of the measures it aims at; empty for all measures.
    new_phase : bool
        Charts of those measures begin a new phase with it.
    """

    change_id: str
    started_month: str
    title: str
    sites: tuple[str, ...] = ()
    measures: tuple[str, ...] = ()
    new_phase: bool = False

    def concerns(self, measure: str, sites: Sequence[str] = ()) -> bool:
        """Whether it aims at a measure, and was made at one of some sites; none: anywhere."""
        return _meet(self.measures, (measure,)) and _meet(self.sites, sites)

    def started(self, period: str) -> str:
        """Return its month, or with `period` "quarter" the quarter of that."""
        return quarter_of(self.started_month) if period == "quarter" else self.started_month


def logged_changes(store: Store, until: str = LATEST) -> list[LoggedChange]:
    """Return the improvement log in time order, up to a month."""
    return _logged(store, until, "change")


def logged_baselines(store: Store, until: str = LATEST) -> list[LoggedChange]:
    """Return the decisions to set a new baseline, in time order, up to a month.

    Each begins a new phase of the charts that it concerns, and changed nothing else.
    """
    return [replace(one, new_phase=True) for one in _logged(store, until, "baseline")]


def _logged(store: Store, until: str, kind: str) -> list[LoggedChange]:
    rows = store.rows(
        "select change_id, started_month, title, sites, measures, coalesce(new_phase, false)"
        " from change where started_month <= ? and coalesce(kind, 'change') = ?"
        " order by started_month, change_id",
        [until, kind],
    )
    return [
        LoggedChange(change_id, started, title, _codes(sites), _codes(measures), bool(new_phase))
        for change_id, started, title, sites, measures, new_phase in rows
    ]


def logged_change(store: Store, change_id: str) -> LoggedChange:
    """Return one entry of the improvement log.

    Raises
    ------
    UsageError
        There is no entry of that name.
    NoDataError
        The log is empty.
    """
    changes = logged_changes(store)
    if not changes:
        raise NoDataError("No change is logged.", try_next="a change.csv in the folder you load")
    for change in changes:
        if change.change_id == change_id:
            return change
    names = ", ".join(change.change_id for change in changes)
    raise UsageError(f"There is no logged change {change_id}.", try_next=f"one of {names}")


def _codes(text: str | None) -> tuple[str, ...]:
    """Split a list; empty where it says all, or nothing."""
    codes = tuple(code for code in re.split(r"[;,\s]+", text or "") if code)
    return () if ALL in codes else codes


def _meet(listed: Sequence[str], wanted: Sequence[str]) -> bool:
    return not listed or not wanted or bool(set(listed) & set(wanted))
