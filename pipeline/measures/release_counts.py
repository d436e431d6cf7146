"""What a release counts of every catheter, and its counts by quarter and group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.measures import session
from pipeline.measures.catalogue import load_catalogue
from pipeline.records.codes import RemovalReason
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

CATHETERS, CATHETER_DAYS = "catheters", "catheter_days"
REASON, HOUR = "reason_", "hour_"
ONE_A_CATHETER = (" catheters", " removals")  # units that count each catheter once
HOURS = tuple(range(6, 97, 6))
FAMILIES = {"site": "site", "surgeon_type": "coalesce(surgeon_type, 'not_recorded')"}
LEADING = frozenset(name for name, measure in load_catalogue().items() if measure.leads)
_NOT_TOLD = ("completed", "other")  # never told, so that the others never add up to a whole


@dataclass(frozen=True)
class Counted:
    """One thing that is counted of every catheter, and how.

    Attributes
    ----------
    name : str
        Its name in the ledger.
    kind : str
        measure, reason, hour or base.
    sql : str
        One row an episode: `episode_id`, `numerator`, `denominator`, as a measure's.
    is_proportion : bool
        The denominator less the numerator counts those without.
    base : str
        What the denominator counts: catheters, or an exposure.
    """

    name: str
    kind: str
    sql: str
    is_proportion: bool
    base: str


def counted_in_release() -> list[Counted]:
    """Return everything that a release counts."""
    columns = "select episode_id, {} as numerator, {} as denominator from episode_dwell"
    found = [
        Counted(CATHETERS, "base", columns.format(0, 1), False, "catheters"),
        Counted(CATHETER_DAYS, "base", columns.format(0, "catheter_days"), False, "exposure"),
    ]
    found += [
        Counted(
            measure.name,
            "measure",
            measure.sql,
            measure.denominator_kind == "proportion",
            "catheters" if measure.unit.endswith(ONE_A_CATHETER) else "exposure",
        )
        for measure in load_catalogue().values()
    ]
    known = "case when reason <> 'not_recorded' then cast({} as integer) end"
    for reason in RemovalReason:
        if reason.value not in _NOT_TOLD:
            sql = columns.format(known.format(f"reason = '{reason.value}'"), 1)
            found.append(Counted(REASON + reason.value, "reason", sql, True, "catheters"))
    for hour in HOURS:
        sql = columns.format(f"case when is_removed then cast(dwell_h <= {hour} as integer) end", 1)
        found.append(Counted(f"{HOUR}{hour}", "hour", sql, True, "catheters"))
    return found


@dataclass(frozen=True, eq=False)
class ReleaseCounts:
    """What a release counts, of the quarters that it is the first to tell of.

    Attributes
    ----------
    rows : polars.DataFrame
        As the table `frozen_count` has them.
    single : frozenset of str
        Things of which no catheter has more than one event.
    implied : frozenset of pairs of str
        Every catheter of the store with the first has the second, too. A name of a thing
        stands for an event of it, with a `*` for knowing whether there was one.
    """

    rows: pl.DataFrame
    single: frozenset[str]
    implied: frozenset[tuple[str, str]]


def release_counts(
    store: Store, things: Sequence[Counted], quarters: Sequence[str], settings: Settings
) -> ReleaseCounts:
    """Count things in quarters, by every family of groups, and see what implies what.

    Parameters
    ----------
    store : Store
        An open store.
    things : sequence of Counted
        What is counted.
    quarters : sequence of str
        Of which the counts are wanted.
    settings : Settings
        Of the programme.
    """
    import polars as pl

    _lay_out(store, things, settings)
    names = [name for thing in things for name in (thing.name, f"{thing.name}*")]
    both, several, rows = np.zeros((len(names), len(names))), np.zeros(len(things)), []
    found = store.rows("select distinct placed_quarter from to_release order by 1")
    for (quarter,) in found:
        frame = store.frame("select * from to_release where placed_quarter = ?", [quarter])
        sets = _sets(frame, len(things))
        both += sets.T @ sets
        several = np.maximum(several, frame.select(pl.col("^n\\d+$").max()).to_numpy()[0])
        if quarter in quarters:
            rows += [_rows(frame, things, family, quarter) for family in FAMILIES]
    size = np.diag(both)
    holds = np.argwhere((both == size[:, None]) & (size[:, None] > 0))
    return ReleaseCounts(
        pl.concat(rows),
        frozenset(t.name for t, most in zip(things, several, strict=True) if not most > 1),
        frozenset((names[a], names[b]) for a, b in holds.tolist() if a != b),
    )


def _lay_out(store: Store, things: Sequence[Counted], settings: Settings) -> None:
    """Make the session's table of catheters, with a numerator and denominator a thing.

    Both are null where it is not known whether there was an event.
    """
    session.bring_to_keys(store, list(load_catalogue().values()), settings)
    steps = ", ".join(session.steps(load_catalogue().values()))
    known = "case when t{0}.numerator is not null and t{0}.denominator > 0 then cast(t{0}.{1}"
    columns = "".join(
        f", {known.format(i, 'numerator')} as bigint) end as n{i}"
        f", {known.format(i, 'denominator')} as double) end as d{i}"
        for i in range(len(things))
    )
    joins = "".join(
        f" left join ({thing.sql}) as t{i} on dwell.episode_id = t{i}.episode_id"
        for i, thing in enumerate(things)
    )
    families = ", ".join(f"{sql} as {name}" for name, sql in FAMILIES.items())
    store.rows(
        f"create or replace temp table to_release as with {steps},"
        f" dwell as (select episode_id, placed_quarter, {families}, row_number() over ("
        "partition by child_key order by placed_month, month_order, episode_id) = 1 as is_first"
        f" from episode_dwell) select dwell.*{columns} from dwell{joins}"
    )


def _sets(frame: pl.DataFrame, things: int) -> NDArray[np.float32]:
    """Return who has an event of each thing and of whom it is known, side by side."""
    import polars as pl

    columns = [
        expression
        for i in range(things)
        for expression in (
            (pl.col(f"n{i}") > 0).fill_null(value=False).alias(f"h{i}"),
            pl.col(f"n{i}").is_not_null().alias(f"k{i}"),
        )
    ]
    return frame.select(columns).to_numpy().astype(np.float32)


def _rows(
    frame: pl.DataFrame, things: Sequence[Counted], family: str, quarter: str
) -> pl.DataFrame:
    """Count every thing in every group of a family, each child at the first catheter."""
    import polars as pl

    first = pl.col("is_first")
    parts = [
        frame.group_by(pl.col(family).alias("group_name")).agg(
            item=pl.lit(thing.name),
            children=(first & (pl.col(f"n{i}") > 0)).sum().cast(pl.Int64),
            others=(first & (pl.col(f"n{i}") < pl.col(f"d{i}"))).sum().cast(pl.Int64),
            known=(first & pl.col(f"n{i}").is_not_null()).sum().cast(pl.Int64),
            events=pl.col(f"n{i}").sum(),
            base=pl.col(f"d{i}").sum().round(9),
        )
        for i, thing in enumerate(things)
    ]
    about = (pl.lit(quarter).alias("quarter"), pl.lit(family).alias("family"))
    return pl.concat(parts).select(*about, pl.all()).sort("item", "group_name")
