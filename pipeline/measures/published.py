"""Figures of a quarter as published, and what has changed them since."""

import datetime as dt
import hashlib
from typing import TYPE_CHECKING, Any

from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.measures.drift_reasons import Causes, find_causes
from pipeline.measures.periods import months_of
from pipeline.measures.series import series
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

Row = dict[str, Any]
COUNTS = ("numerator", "denominator", "episodes", "ascertained")
DRIFT_COLUMNS = (
    "quarter", "measure", "site", "edition", "published_numerator", "published_denominator",
    "numerator", "denominator", "published_provisional", "provisional", "why",
)  # fmt: skip


def freeze(store: Store, quarter: str, settings: Settings | None = None) -> int:
    """Store the figures of `quarter` as published; return the number of this edition.

    Parameters
    ----------
    store : Store
        Open for writing.

    Raises
    ------
    NoDataError
        The store holds no episode of the quarter.
    UsageError
        `quarter` is none.
    """
    now = _figures(store, quarter, settings)
    ((edition,),) = store.rows(
        "select coalesce(max(edition), 0) + 1 from published where quarter = ?", [quarter]
    )
    ((load_id,),) = store.rows("select max(load_id) from load")
    moment = dt.datetime.now(dt.UTC).replace(tzinfo=None, microsecond=0)
    about = (quarter, edition, moment, store.as_of(), load_id)
    rows = [
        (*about, row["measure"], _definition(row["measure"], settings), row["site"],
         *(row[name] for name in COUNTS), row["provisional"])
        for row in now
    ]  # fmt: skip
    store.insert("published", rows)
    return int(edition)


def frozen_quarters(store: Store) -> tuple[str, ...]:
    """Return the quarters whose figures are kept as published."""
    return tuple(q for (q,) in store.rows("select distinct quarter from published order by 1"))


def drift(
    store: Store, quarter: str | None = None, settings: Settings | None = None
) -> "pl.DataFrame":
    """List the published figures that are others now.

    Parameters
    ----------
    quarter : str, optional
        One quarter; every frozen one unless given. The latest edition counts.

    Returns
    -------
    polars.DataFrame
        A row a quarter, measure and site, the columns of `DRIFT_COLUMNS`; `why` names
        new rows, rows taken back, corrections, maturity (what was open or provisional is
        known now) and a changed definition, with how many of each.

    Raises
    ------
    NoDataError
        `quarter`, or no quarter at all, was frozen.
    """
    import polars as pl

    frozen = store.rows(
        "select quarter, max(edition) from published where ? is null or quarter = ?"
        " group by quarter order by quarter",
        [quarter, quarter],
    )
    if not frozen:
        said = f"{quarter} is not frozen." if quarter else "No quarter is frozen."
        raise NoDataError(said, try_next=f"dwell freeze {quarter or '2025-Q4'}")
    found = [row for name, edition in frozen for row in _of_quarter(store, name, edition, settings)]
    return pl.DataFrame(found, schema=DRIFT_COLUMNS, orient="row", infer_schema_length=None)


def _of_quarter(
    store: Store, quarter: str, edition: int, settings: Settings | None
) -> list[tuple[Any, ...]]:
    before = store.frame(
        "select * from published where quarter = ? and edition = ? order by measure, site",
        [quarter, edition],
    ).to_dicts()
    now = {(row["measure"], row["site"]): row for row in _figures_or_none(store, quarter, settings)}
    causes = find_causes(store, *months_of(quarter), before[0]["load_id"])
    published = {(row["measure"], row["site"]): row for row in before}
    return [
        (quarter, *key, edition, *_numbers(old, new), _why(key, old, new, causes, settings))
        for key in sorted(published.keys() | now.keys())
        if _differs(old := published.get(key, {}), new := now.get(key, {}))
    ]


def _differs(old: Row, new: Row) -> bool:
    return any(old.get(name) != new.get(name) for name in (*COUNTS, "provisional"))


def _numbers(old: Row, new: Row) -> tuple[Any, ...]:
    """Return published and present counts in the order of `DRIFT_COLUMNS`."""
    counts = [row.get(name) for row in (old, new) for name in ("numerator", "denominator")]
    return (*counts, old.get("provisional"), new.get("provisional"))


def _why(
    key: tuple[str, str], old: Row, new: Row, causes: Causes, settings: Settings | None
) -> str:
    measure, site = key
    card = load_catalogue().get(measure)
    why = causes.words(card.reads, site) if card else ["measure no longer defined"]
    if old.get("provisional") and new.get("provisional") is False:
        why.append("no longer provisional")
    if old and card and old["definition"] != _definition(measure, settings):
        why.append("changed definition or settings")
    return "; ".join(why) or "not known"


def _figures(store: Store, quarter: str, settings: Settings | None) -> list[dict[str, Any]]:
    frame = series(
        store,
        list(load_catalogue().values()),
        by=("quarter", "site"),
        months=months_of(quarter),
        with_total=True,
        settings=settings,
    )
    return frame.to_dicts()


def _figures_or_none(store: Store, quarter: str, settings: Settings | None) -> list[dict[str, Any]]:
    """Return no figures where every episode of a frozen quarter was taken back."""
    try:
        return _figures(store, quarter, settings)
    except NoDataError:
        return []


def _definition(measure: str, settings: Settings | None) -> str:
    card: Measure | None = load_catalogue().get(measure)
    text = f"{card.sql if card else ''}\n{settings or Settings()!r}"
    return hashlib.sha256(text.encode()).hexdigest()
