"""Which quarters the store holds placements in."""

from pipeline.errors import NoDataError
from pipeline.measures.periods import months_of
from pipeline.store import Store


def latest_quarter(store: Store) -> str:
    """Return the last quarter with a placement.

    Raises
    ------
    NoDataError
        The store holds no episode.
    """
    ((last,),) = store.rows("select max(placed_quarter) from episode_dwell")
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
        " count(case when placed_quarter = ? then 1 end) from episode_dwell",
        [quarter],
    )
    if first is None:
        raise NoDataError("The store holds no episodes.", try_next="dwell load FOLDER")
    if not found:
        raise NoDataError(
            f"No episodes in {quarter}: the store holds {first} to {last}.",
            try_next=f"dwell report {last}",
        )
