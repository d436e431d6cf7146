"""Which quarters the store holds placements in, and how much of each."""

from dataclasses import dataclass

from pipeline.errors import NoDataError
from pipeline.measures.periods import months_of
from pipeline.store import READY_COUNTS, Store


def months_held(store: Store) -> tuple[str, str]:
    """Return the first and last month with a placement."""
    (found,) = store.rows(f"select min(placed_month), max(placed_month) from {READY_COUNTS}")
    return found


def latest_quarter(store: Store) -> str:
    """Return the last quarter with a placement.

    Raises
    ------
    NoDataError
        The store holds no episode.
    """
    ((last,),) = store.rows(f"select max(placed_quarter) from {READY_COUNTS}")
    if last is None:
        raise NoDataError("The store holds no episodes.", try_next="dwell load FOLDER")
    return str(last)


def check_quarter(store: Store, quarter: str) -> None:
    """Refuse a quarter without episodes, naming what the store holds.

    Raises
    ------
    UsageError
        It is no quarter.
    NoDataError
        The store holds no episode placed in it.
    """
    months_of(quarter)
    ((first, last, found),) = store.rows(
        "select min(placed_quarter), max(placed_quarter),"
        f" count(case when placed_quarter = ? then 1 end) from {READY_COUNTS}",
        [quarter],
    )
    if first is None:
        raise NoDataError("The store holds no episodes.", try_next="dwell load FOLDER")
    if not found:
        raise NoDataError(
            f"No episodes in {quarter}: the store holds {first} to {last}.",
            try_next=f"dwell report {last}",
        )


@dataclass(frozen=True, slots=True)
class QuarterSize:
    """How much happened in a quarter.

    Attributes
    ----------
    sites, catheters : int
        Sites with a placement in the quarter, and catheters placed.
    catheter_days : float
        Their days in place, where known.
    unknown_dwell : int
        Catheters without a known time in place.
    contacts, reached : int
        Planned daily calls about them, and those that reached the family.
    set_aside : int
        Rows of all loads that wait for correction.
    """

    sites: int
    catheters: int
    catheter_days: float
    unknown_dwell: int
    contacts: int
    reached: int
    set_aside: int


def quarter_size(store: Store, quarter: str) -> QuarterSize:
    """Return how much happened in a quarter."""
    ((sites, catheters, days, unknown),) = store.rows(
        "select count(distinct site), count(*), coalesce(sum(catheter_days), 0),"
        " count(case when not is_dwell_known then 1 end)"
        " from episode_dwell where placed_quarter = ?",
        [quarter],
    )
    ((contacts, reached),) = store.rows(
        "select count(*), count(case when contact.reached then 1 end) from contact"
        " inner join episode_dwell using (episode_id)"
        " where contact.direction = 'service' and placed_quarter = ?",
        [quarter],
    )
    ((waiting,),) = store.rows("select count(*) from set_aside where cleared_by is null")
    return QuarterSize(sites, catheters, round(float(days), 6), unknown, contacts, reached, waiting)
