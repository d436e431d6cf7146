"""Counts of the measures by group and case mix, for comparisons."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import NoDataError
from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import DIMENSIONS, grouped_by
from pipeline.measures.periods import EARLIEST, LATEST, last_final_month
from pipeline.measures.series import Where, condition_of
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

PERIOD = "period"


@dataclass(frozen=True)
class PatternFrames:
    """The counts of some measures over the same combinations of factors.

    Attributes
    ----------
    cells : polars.DataFrame
        `cell`, from 0 without gaps and in order, and a column of text a factor,
        null where not recorded.
    measures : iterator of (Measure, polars.DataFrame)
        For each measure `cell` and the sums over its episodes: `episodes` whose
        numerator is known, `with_event` of them, `children` and `children_with_event`
        (those of them that are the first of their child's), `missing_episodes`,
        `missing_denominator`, `numerator`, `denominator`, `numerator_squared`,
        `cross_product` and `denominator_squared`. Read one after the other, while
        the store is open.
    """

    cells: "pl.DataFrame"
    measures: Iterator[tuple[Measure, "pl.DataFrame"]]


def pattern_frames(
    store: Store,
    measures: Sequence[Measure],
    factors: Sequence[str],
    *,
    where: Where | None = None,
    months: tuple[str, str] | None = None,
    started_month: str | None = None,
    settings: Settings | None = None,
) -> PatternFrames:
    """Count measures by every combination of groups and case-mix terms that occurs.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
        What to count.
    factors : sequence of str
        Names of `DIMENSIONS` (ages and planned hours are banded), or "period" ("before"
        or "after" `started_month`).
    where, months, settings
        As for :func:`pipeline.measures.series.series`.
    started_month : str, optional
        First month of a change.

    Raises
    ------
    UsageError
        A factor, a name in `where` or a month is unknown.
    NoDataError
        No episode is left.
    """
    session.copy_what_is_read(store, measures, settings)
    condition, params = condition_of(where, months)
    columns = ", ".join(f"{_column(name, started_month)} as factor_{name}" for name in factors)
    names = [f"factor_{name}" for name in factors]
    listed, same = (
        ", ".join(names),
        " and ".join(f"a.{n} is not distinct from b.{n}" for n in names),
    )
    store.rows(
        "create or replace temp table episode_factor as"
        " select episode_id,"
        " episode_id = min(episode_id) over (partition by child_key) as is_first,"
        f" {columns} from {session.keyed('episode_dwell')} where {condition}",
        [*([started_month] if PERIOD in factors and started_month else []), *params],
    )
    store.rows(
        "create or replace temp table factor_cell as"
        f" select cast(row_number() over (order by {listed}) - 1 as integer) as cell, *"
        f" from (select distinct {listed} from episode_factor)"
    )
    store.rows(
        "create or replace temp table episode_cell as select a.episode_id, a.is_first, b.cell"
        f" from episode_factor as a inner join factor_cell as b on {same}"
    )
    cells = store.frame("select * from factor_cell order by cell").rename(
        dict(zip(names, factors, strict=True))
    )
    if cells.is_empty():
        raise NoDataError("No episode fits what was asked.", try_next="dwell status")
    found = ((measure, store.frame(_sums_sql(measure))) for measure in measures)
    return PatternFrames(cells, found)


def final_months(
    store: Store, measures: Sequence[Measure], months: tuple[str, str] | None
) -> tuple[str, str]:
    """Keep the months in which every measure has had its follow-up time.

    Raises
    ------
    NoDataError
        None is left.
    """
    first, last = months or (EARLIEST, LATEST)
    final = last_final_month(store.as_of(), max(m.follow_up_h for m in measures))
    if final < first:
        raise NoDataError(
            f"From {first} on every month is still provisional.", try_next=f"--to {final}"
        )
    return first, min(last, final)


def _column(name: str, started_month: str | None) -> str:
    if name == PERIOD and started_month is not None:
        return "case when placed_month >= ? then 'after' else 'before' end"
    banded = DIMENSIONS.get(name)
    return banded.band if banded and banded.band else grouped_by(name).as_text


def _sums_sql(measure: Measure) -> str:
    # Sums of decimals do not depend on the order of the rows, sums of doubles do.
    steps = ",\n".join(
        [
            *session.steps([measure]),
            f"measured as (\n{measure.sql})",
            """
        paired as (
            select
                episode_cell.cell,
                episode_cell.is_first,
                cast(case when measured.denominator > 0 then measured.numerator end as integer)
                    as y,
                cast(measured.denominator as decimal(12, 6)) as d
            from measured
            inner join episode_cell on measured.episode_id = episode_cell.episode_id
            where measured.denominator is null or measured.denominator > 0
        )""",
        ]
    )
    # An episode's y is known only where its d is, so that sums with y pass over the others.
    sums = {
        "numerator": "sum(y)",
        "denominator": "sum(d) filter (where y is not null)",
        "numerator_squared": "sum(y * y)",
        "cross_product": "sum(y * d)",
        "denominator_squared": "sum(d * d) filter (where y is not null)",
        "missing_denominator": "sum(d) filter (where y is null)",
    }
    added = ", ".join(
        f"cast(coalesce({term}, 0) as double) as {name}" for name, term in sums.items()
    )
    return f"""
        with {steps}
        select
            cell,
            count(y) as episodes,
            count(case when y > 0 then 1 end) as with_event,
            count(case when is_first and y is not null then 1 end) as children,
            count(case when is_first and y > 0 then 1 end) as children_with_event,
            count(*) - count(y) as missing_episodes,
            {added}
        from paired
        group by cell
        order by cell"""
