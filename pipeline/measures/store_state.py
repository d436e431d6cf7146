"""Where a programme stands: what its store holds, and what the store waits for."""

import datetime as dt
from dataclasses import dataclass

from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.periods import last_final_month, months_of, quarter_of, quarters_between
from pipeline.store import Store


@dataclass(frozen=True, slots=True)
class StoreState:
    """What a store holds and what is open in it.

    Attributes
    ----------
    episodes, sites : int
        Current episodes, and the sites that they name.
    first_month, last_month : str
        Of placement, ``YYYY-MM``.
    as_of : date
        The latest date on which the records were extracted.
    set_aside : int
        Rows that wait for a correction.
    closed_quarter : str or None
        The latest quarter with placements in which no measure is provisional.
    is_frozen : bool
        Whether the figures of the closed quarter are kept as published.
    loaded_since : tuple of str
        Frozen quarters after whose freezing records came in or were taken back.
    quarters_without_records : tuple of str
        Quarters that have ended since the records were extracted.
    changes : int
        Changes in the improvement log.
    """

    episodes: int
    sites: int
    first_month: str
    last_month: str
    as_of: dt.date
    set_aside: int
    closed_quarter: str | None
    is_frozen: bool
    loaded_since: tuple[str, ...]
    quarters_without_records: tuple[str, ...]
    changes: int


def store_state(store: Store, today: dt.date) -> StoreState | None:
    """Read where the programme stands; None where the store holds no episode.

    Parameters
    ----------
    today : date
        The date against which the age of the records is judged.
    """
    ((episodes, sites, first, last),) = store.rows(
        "select count(*), count(distinct site), min(placed_month), max(placed_month) from episode"
    )
    if not episodes:
        return None
    as_of = store.as_of()
    ((set_aside,),) = store.rows("select count(*) from set_aside where cleared_by is null")
    ((changes,),) = store.rows("select count(*) from change")
    frozen = _frozen(store)
    closed = _closed_quarter(store, as_of)
    return StoreState(
        episodes=episodes,
        sites=sites,
        first_month=first,
        last_month=last,
        as_of=as_of,
        set_aside=set_aside,
        closed_quarter=closed,
        is_frozen=closed in frozen,
        loaded_since=tuple(quarter for quarter, is_old in frozen.items() if is_old),
        quarters_without_records=_ended_between(as_of, today),
        changes=changes,
    )


def _frozen(store: Store) -> dict[str, bool]:
    """Return the frozen quarters, and whether a load came after the latest edition of each."""
    rows = store.rows(
        "select quarter, max(load_id) < (select max(load_id) from load)"
        " from published group by quarter order by quarter"
    )
    return dict(rows)


def _closed_quarter(store: Store, as_of: dt.date) -> str | None:
    longest = max(measure.follow_up_h for measure in load_catalogue().values())
    final = last_final_month(as_of, longest)
    rows = store.rows("select distinct placed_quarter from episode_dwell order by 1 desc")
    return next((quarter for (quarter,) in rows if months_of(quarter)[1] <= final), None)


def _ended_between(as_of: dt.date, today: dt.date) -> tuple[str, ...]:
    """Return the quarters that ended from the date of extraction until today."""
    span = quarters_between(f"{as_of:%Y-%m}", f"{max(as_of, today):%Y-%m}")
    return tuple(q for q in span if q != quarter_of(f"{today:%Y-%m}"))
