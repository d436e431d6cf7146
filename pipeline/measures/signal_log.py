"""Signals of control charts kept by quarter, so that the next can say which are new."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from typing import Literal

from pipeline.store import Store

State = Literal["new", "continuing", "ended"]


@dataclass(frozen=True)
class LoggedSignal:
    """One signal, as it was listed.

    Attributes
    ----------
    measure, site : str
        Whose chart; `site` is "all" for the network's.
    kind, direction : str
        The rule, and the side of the centre line (above, below).
    first_period, last_period : str
        Of the points that it names.
    sentence : str
    """

    measure: str
    site: str
    kind: str
    direction: str
    first_period: str
    last_period: str
    sentence: str

    def is_same_as(self, other: LoggedSignal) -> bool:
        """Whether both are one signal at two times: the same rule and side, periods in common."""
        same = (self.measure, self.site, self.kind, self.direction) == (
            other.measure, other.site, other.kind, other.direction,
        )  # fmt: skip
        return (
            same
            and self.first_period <= other.last_period
            and other.first_period <= self.last_period
        )


def keep_signals(store: Store, quarter: str, signals: Sequence[LoggedSignal], charts: int) -> int:
    """Store the signals of a quarter; the same list twice is kept once.

    Parameters
    ----------
    store : Store
        Open for writing.
    charts : int
        Control charts looked at.

    Returns
    -------
    int
        The number of this edition.
    """
    edition, _ = _latest(store, quarter)
    if is_kept(store, quarter, signals):
        return edition
    ((load_id,),) = store.rows("select max(load_id) from load")
    moment = dt.datetime.now(dt.UTC).replace(tzinfo=None, microsecond=0)
    about = (quarter, edition + 1, moment, store.as_of(), load_id, charts)
    store.insert("signal_list", [about])
    if signals:
        store.insert("signal", [(quarter, edition + 1, *astuple(s)) for s in signals])
    return edition + 1


def is_kept(store: Store, quarter: str, signals: Sequence[LoggedSignal]) -> bool:
    """Say whether the latest list of a quarter is this one."""
    edition, kept = _latest(store, quarter)
    return edition > 0 and sorted(map(astuple, kept)) == sorted(map(astuple, signals))


@dataclass(frozen=True)
class KeptList:
    """The latest list of a quarter.

    Attributes
    ----------
    as_of : date
        When the records that it was made from were extracted.
    signals : tuple of LoggedSignal
        None where no chart signalled.
    """

    as_of: dt.date
    signals: tuple[LoggedSignal, ...]


def kept_list(store: Store, quarter: str) -> KeptList | None:
    """Return the latest list of a quarter with its date; None where none was kept."""
    edition, kept = _latest(store, quarter)
    if not edition:
        return None
    ((as_of,),) = store.rows(
        "select as_of from signal_list where quarter = ? and edition = ?", [quarter, edition]
    )
    return KeptList(as_of, tuple(kept))


def kept_signals(store: Store, quarter: str) -> list[LoggedSignal] | None:
    """Return the latest list of a quarter; None where none was kept."""
    edition, kept = _latest(store, quarter)
    return kept if edition else None


def _latest(store: Store, quarter: str) -> tuple[int, list[LoggedSignal]]:
    ((edition,),) = store.rows(
        "select coalesce(max(edition), 0) from signal_list where quarter = ?", [quarter]
    )
    rows = store.rows(
        "select measure, site, kind, direction, first_period, last_period, sentence"
        " from signal where quarter = ? and edition = ?"
        " order by measure, site, kind, first_period",
        [quarter, edition],
    )
    return int(edition), [LoggedSignal(*row) for row in rows]


def states(
    now: Sequence[LoggedSignal], before: Sequence[LoggedSignal]
) -> tuple[list[State], list[LoggedSignal]]:
    """Say of each signal whether it is new or continuing, and which have ended.

    Parameters
    ----------
    now, before : sequence of LoggedSignal
        Of this quarter, and of the one before.

    Returns
    -------
    list of str
        For each of `now`.
    list of LoggedSignal
        Those of `before` that are no more.
    """
    found: list[State] = [
        "continuing" if any(signal.is_same_as(other) for other in before) else "new"
        for signal in now
    ]
    gone = [other for other in before if not any(signal.is_same_as(other) for signal in now)]
    return found, gone
