"""The ledger of releases in the store: frozen counts, what was told, and each release."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.measures.periods import months_of, quarters_between
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

Told = tuple[str, str, str, str, str, str, str, int | None, float | None]
"""A row of `released_figure`."""
TOLD_COLUMNS = ("quarter", "item", "family", "group_name", "first_quarter", "last_quarter", "why")


def quarters_of_release(store: Store, quarter: str) -> tuple[list[str], list[str]]:
    """Return the quarters whose counts are kept, and those up to one that are to be.

    Both in order and without a gap; a quarter before those kept stays out for good.
    """
    ((kept_first, kept_last),) = store.rows("select min(quarter), max(quarter) from frozen_count")
    ((first,),) = store.rows("select min(placed_quarter) from episode_dwell")
    every = quarters_between(months_of(kept_first or first)[0], months_of(quarter)[0])
    if kept_last is None:
        return [], every
    kept = quarters_between(months_of(kept_first)[0], months_of(kept_last)[0])
    return kept, [q for q in every if q > kept_last]


def frozen_counts(
    store: Store, items: Sequence[str], fields: Sequence[str], quarters: Sequence[str]
) -> Mapping[str, tuple[tuple[str, ...], NDArray[np.float64]]]:
    """Read the kept counts.

    Returns
    -------
    mapping of str to tuple
        Of each family its groups in order, and the counts, shape (fields, items,
        quarters, groups): zero where nothing was placed, NaN where an item was not
        counted in a quarter.
    """
    frame = store.frame("select * from frozen_count order by group_name")
    place_of_item = {name: i for i, name in enumerate(items)}
    place_of_quarter = {name: t for t, name in enumerate(quarters)}
    found = {}
    for (family,), rows in frame.group_by("family", maintain_order=True):
        groups = tuple(rows["group_name"].unique(maintain_order=True).to_list())
        place_of_group = {name: g for g, name in enumerate(groups)}
        values = np.full((len(fields), len(items), len(quarters), len(groups)), np.nan)
        for row in rows.iter_rows(named=True):
            if row["item"] in place_of_item and row["quarter"] in place_of_quarter:
                i, t = place_of_item[row["item"]], place_of_quarter[row["quarter"]]
                every = values[:, i, t]
                every[np.isnan(every)] = 0.0
                every[:, place_of_group[row["group_name"]]] = [row[name] for name in fields]
        empty = np.isnan(values).all(axis=(0, 1, 3))  # a quarter without catheters
        values[:, :, empty] = 0.0
        found[str(family)] = (groups, values)
    return found


def told_figures(store: Store, quarter: str) -> pl.DataFrame:
    """Return what was decided up to a quarter, the columns of `released_figure`."""
    return store.frame(
        "select * from released_figure where quarter <= ?"
        " order by quarter, item, family, group_name",
        [quarter],
    )


def keep_counts(store: Store, rows: pl.DataFrame) -> None:
    """Keep the counts of quarters, as `release_counts` has them."""
    store.insert_frame("frozen_count", rows)


def keep_figures(store: Store, rows: Sequence[Told]) -> None:
    """Keep what was decided."""
    import polars as pl

    columns = dict.fromkeys(TOLD_COLUMNS, pl.String) | {"events": pl.Int64, "base": pl.Float64}
    store.insert_frame("released_figure", pl.DataFrame(rows, schema=columns, orient="row"))


def keep_release(
    store: Store, quarter: str, comparison: str | None, figures: int, fingerprint: str
) -> int:
    """Keep that a release was made; return its number."""
    ((number,),) = store.rows("select coalesce(max(number), 0) + 1 from release")
    ((load_id,),) = store.rows("select max(load_id) from load")
    moment = dt.datetime.now(dt.UTC).replace(tzinfo=None, microsecond=0)
    about: tuple[Any, ...] = (
        number, quarter, comparison or "none", moment, store.as_of(), load_id, figures, fingerprint,
    )  # fmt: skip
    store.insert("release", [about])
    return int(number)


def list_releases(store: Store) -> pl.DataFrame:
    """Return every release that was made, the latest last."""
    return store.frame(
        "select number, quarter, comparison, cast(released_at as varchar) as released_at,"
        " cast(as_of as varchar) as as_of, figures, fingerprint from release order by number"
    )
