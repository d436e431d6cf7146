"""What a release of a quarter tells: figures of closed quarters, safe to pass on.

All of it is decided once, quarter by quarter, and kept in the store; a release made again
tells the same.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from pipeline import __version__
from pipeline.answers.release_decisions import decide_release
from pipeline.disclosure.choice import Clock
from pipeline.disclosure.frozen import NETWORK
from pipeline.disclosure.told import WAITS
from pipeline.errors import NoDataError, UsageError
from pipeline.measures import release_ledger as ledger
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.dimensions import group_labels
from pipeline.measures.periods import last_final_month, months_of, quarter_of
from pipeline.measures.quarters import check_quarter
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.store.holdings import names_held

if TYPE_CHECKING:
    import polars as pl

FEWEST = 5  # no service may set a lower threshold for what it passes on


@dataclass(frozen=True)
class ReleasedCell:
    """One figure that is told, or of which is told that it is withheld.

    Attributes
    ----------
    item, family, group : str
        What of: a measure, a reason, an hour or a total; `all`, or a group's name.
    first, last : str
        First and last quarter.
    events : int or None
        As counted; None where withheld, and of a total.
    base : float or None
        The denominator, rounded; None where withheld.
    """

    item: str
    family: str
    group: str
    first: str
    last: str
    events: int | None
    base: float | None


@dataclass(frozen=True)
class Release:
    """All that a release tells. Whatever a page of it says follows from this.

    Attributes
    ----------
    network : str
        The network's name.
    quarter : str
        The last quarter of it.
    comparison : str or None
        The groups that are told of, if any.
    labels : dict of str to str
        Names of the groups by their codes.
    cells : tuple of Cell
        Every figure.
    threshold : int
        Fewest children of a count that is told.
    version : str
        Of the program.
    """

    network: str
    quarter: str
    comparison: str | None
    labels: dict[str, str]
    cells: tuple[ReleasedCell, ...]
    threshold: int
    version: str = __version__

    @property
    def fingerprint(self) -> str:
        """Sixteen hexadecimal digits that change when anything told does."""
        return hashlib.sha256(self.text().encode()).hexdigest()[:16]

    def text(self) -> str:
        """Return all of it as JSON."""
        return json.dumps(asdict(self), ensure_ascii=False, indent=1)

    @classmethod
    def of(cls, text: str) -> Release:
        """Read a release back."""
        values = json.loads(text)
        return cls(**values | {"cells": tuple(ReleasedCell(**cell) for cell in values["cells"])})

    def frame(self) -> pl.DataFrame:
        """Return a row a cell."""
        import polars as pl

        return pl.DataFrame([asdict(cell) for cell in self.cells], infer_schema_length=None)

    def as_json(self) -> dict[str, Any]:
        """Return all of it, and its fingerprint."""
        return asdict(self) | {"fingerprint": self.fingerprint}


@dataclass(frozen=True)
class Withheld:
    """What is withheld of a release, for the desk alone: reasons tell more than blanks.

    Attributes
    ----------
    by_quarter, with_year, withheld : int
        Figures of the whole network, one a measure and quarter: told by quarter, told
        together with other quarters, and not told (yet).
    groups_told, groups_withheld : int
        Figures of groups and years.
    reasons : dict of str to int
        Why, and of how many figures.
    took_too_long : bool
        Not all was chosen as well as it could be.
    """

    by_quarter: int
    with_year: int
    withheld: int
    groups_told: int
    groups_withheld: int
    reasons: dict[str, int]
    took_too_long: bool


def release(
    store: Store, quarter: str, settings: Settings, *, comparison: str | None = None
) -> tuple[Release, Withheld]:
    """Decide what may be told up to a quarter, keep it, and return it.

    Parameters
    ----------
    store : Store
        Open for writing.
    quarter : str
        Closed: no measure of it is provisional.
    settings : Settings
        Of the programme; its threshold is used.
    comparison : {"site", "surgeon_type"}, optional
        The groups that are told of, year by year.

    Raises
    ------
    UsageError
        The quarter is none, or not closed; or the threshold is too low.
    NoDataError
        The store holds no episode of the quarter.
    """
    check_quarter(store, quarter)
    _check_closed(store, quarter)
    if settings.small_cell < FEWEST:
        raise UsageError(
            f"A release withholds counts below {FEWEST} at least; small_cell is"
            f" {settings.small_cell}.",
            try_next="small_cell = 11 in the settings file",
        )
    clock = Clock()
    kept, new = ledger.quarters_of_release(store, quarter)
    if new:
        decide_release(store, kept, new, settings=settings, clock=clock)
    rows = ledger.told_figures(store, quarter)
    made = Release(
        settings.network,
        quarter,
        comparison,
        _labels(store, comparison),
        _cells(rows, comparison),
        settings.small_cell,
    )
    told = sum(cell.base is not None for cell in made.cells)
    ledger.keep_release(store, quarter, comparison, told, made.fingerprint)
    return made, _withheld(rows, quarter, clock)


def closed_quarter(store: Store) -> str | None:
    """Return the latest quarter that can be released; None where there is none."""
    as_of = store.as_of()
    final = min(last_final_month(as_of, m.follow_up_h) for m in load_catalogue().values())
    quarter = quarter_of(final)
    if months_of(quarter)[1] != final:
        year, number = int(quarter[:4]), int(quarter[-1])
        quarter = f"{year}-Q{number - 1}" if number > 1 else f"{year - 1}-Q4"
    held = [name for name, _ in names_held(store, "quarter")]
    return quarter if held and min(held) <= quarter else None


def _check_closed(store: Store, quarter: str) -> None:
    closed = closed_quarter(store)
    if closed is None:
        raise NoDataError("No quarter is closed yet: records of its last follow-up are missing.")
    if quarter > closed:
        raise UsageError(
            f"{quarter} is not closed: records extracted on {store.as_of()} do not reach the end"
            " of every measure's follow-up.",
            try_next=f"dwell release {closed}",
        )


def _labels(store: Store, comparison: str | None) -> dict[str, str]:
    return group_labels(store, comparison)


def _cells(rows: pl.DataFrame, comparison: str | None) -> tuple[ReleasedCell, ...]:
    """Return what is told, and a blank for what is not told up to now.

    A quarter that waits has a blank until a longer span with it is told.
    """
    import polars as pl

    shown = rows.filter(pl.col("family").is_in([NETWORK, comparison or NETWORK]))
    told = {
        (row["item"], row["family"], row["group_name"], row["first_quarter"]): row["last_quarter"]
        for row in shown.filter(why="").iter_rows(named=True)
    }
    last: dict[tuple[str, ...], dict[str, Any]] = {}
    cells = []
    for row in shown.iter_rows(named=True):
        key = (row["item"], row["family"], row["group_name"], row["first_quarter"])
        if not row["why"]:
            cells.append(_cell(row))
        elif key not in told:
            last[key] = row  # the longest of a span that grows
    cells += [_cell(row) for row in last.values()]
    return tuple(sorted(cells, key=lambda c: (c.item, c.family, c.group, c.first, c.last)))


def _cell(row: dict[str, Any]) -> ReleasedCell:
    return ReleasedCell(
        row["item"], row["family"], row["group_name"], row["first_quarter"], row["last_quarter"],
        row["events"], row["base"],
    )  # fmt: skip


def _withheld(rows: pl.DataFrame, quarter: str, clock: Clock) -> Withheld:
    """Count what is told of measures and what is not, and why."""
    measures, by_quarter, with_year, of_network = set(load_catalogue()), 0, 0, 0
    groups, reasons = Counter[bool](), Counter[str]()
    for row in rows.iter_rows(named=True):
        if row["item"] not in measures:
            continue
        if row["family"] != NETWORK:
            groups[bool(row["why"])] += 1
        elif row["last_quarter"] == row["quarter"]:
            of_network += 1
            if not row["why"]:
                length = _length(row["first_quarter"], row["last_quarter"])
                by_quarter += length == 1
                with_year += length if length > 1 else 0
        if row["why"] and (row["why"] != WAITS or row["quarter"] == quarter):
            reasons[row["why"]] += 1
    return Withheld(
        by_quarter,
        with_year,
        of_network - by_quarter - with_year,
        groups[False],
        groups[True],
        dict(reasons),
        clock.ran_out,
    )


def _length(first: str, last: str) -> int:
    return (int(last[:4]) - int(first[:4])) * 4 + int(last[-1]) - int(first[-1]) + 1
