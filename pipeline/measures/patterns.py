"""Counts of the measures by group and case mix, for comparisons."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import NoDataError
from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import DIMENSIONS, grouped_by
from pipeline.measures.periods import EARLIEST, LATEST, last_final_month
from pipeline.measures.quarters import months_held
from pipeline.measures.series import Where, condition_of
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

PERIOD = "period"
# Whether an episode is the first of its child among those that are counted.
IS_FIRST = (
    "row_number() over (partition by child_key order by placed_month, site, month_order) = 1"
    " as is_first"
)
COUNTS = {
    "episodes": "count(y)",
    "with_event": "count(case when y > 0 then 1 end)",
    "children": "count(case when is_first and y is not null then 1 end)",
    "children_with_event": "count(case when is_first and y > 0 then 1 end)",
    "missing_episodes": "count(*) - count(y)",
}
# An episode's y is known only where its d is, so that sums with y pass over the others.
SUMS = {
    "numerator": "sum(y)",
    "denominator": "sum(d) filter (where y is not null)",
    "numerator_squared": "sum(y * y)",
    "cross_product": "sum(y * d)",
    "denominator_squared": "sum(d * d) filter (where y is not null)",
    "missing_denominator": "sum(d) filter (where y is null)",
}


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
    if store.holds_counts:
        if where:
            raise store.needs_episodes(f"counting where {' and '.join(where)} is chosen")
        return _gathered(store, measures, factors, months, started_month, settings)
    session.bring_to_keys(store, measures, settings)
    condition, params = condition_of(where, months)
    columns = factor_columns(factors, started_month)
    names = [f"factor_{name}" for name in factors]
    listed, same = (
        ", ".join(names),
        " and ".join(f"a.{n} is not distinct from b.{n}" for n in names),
    )
    store.rows(
        "create or replace temp table episode_factor as"
        " select episode_id,"
        f" {IS_FIRST}, {columns} from {session.keyed('episode_dwell')} where {condition}",
        params,
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


def pattern_question(
    store: Store, factors: Sequence[str], months: tuple[str, str] | None, started: str | None
) -> str:
    """Name what is counted by factors, in the months that the store holds."""
    first, last = months_held(store)
    begin, end = months or (first, last)
    named = ",".join(sorted(set(factors)))
    since = f" since {started}" if started and PERIOD in factors else ""
    return f"{named} {max(first, begin)} to {min(last, end)}{since}"


def _gathered(  # noqa: PLR0917 - as `pattern_frames` takes them
    store: Store,
    measures: Sequence[Measure],
    factors: Sequence[str],
    months: tuple[str, str] | None,
    started_month: str | None,
    settings: Settings | None,
) -> PatternFrames:
    """Return what was gathered of a question."""
    question = pattern_question(store, factors, months, started_month)
    asked = store.rows("select measure from gathered_question where question = ?", [question])
    for measure in measures:
        if (measure.name,) not in asked or not session.holds_as_counted(store, measure, settings):
            raise store.needs_episodes(f"{measure.name} by {question}")
    listed = ", ".join(f"factor_{name}" for name in factors)
    same = " and ".join(f"a.factor_{n} is not distinct from b.factor_{n}" for n in factors)
    store.rows(
        "create or replace temp table factor_cell as"
        f" select cast(row_number() over (order by {listed}) - 1 as integer) as cell, {listed}"
        " from gathered_pattern where question = ? and measure is null",
        [question],
    )
    cells = store.frame("select * from factor_cell order by cell")
    sums = ", ".join([*COUNTS, *(f"{_added(name)} as {name}" for name in SUMS)])
    sql = (
        f"select cell, {sums} from gathered_pattern as a inner join factor_cell as b on {same}"
        " where question = ? and measure = ? order by cell"
    )
    found = ((measure, store.frame(sql, [question, measure.name])) for measure in measures)
    return PatternFrames(cells.rename({f"factor_{n}": n for n in factors}), found)


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


def factor_columns(factors: Sequence[str], started_month: str | None) -> str:
    """Return the SQL of factors, each a text under its name."""
    return ", ".join(f"{_column(name, started_month)} as factor_{name}" for name in factors)


def _column(name: str, started_month: str | None) -> str:
    if name == PERIOD and started_month is not None:
        return f"case when placed_month >= '{started_month}' then 'after' else 'before' end"
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
    counts = ", ".join(f"{term} as {name}" for name, term in COUNTS.items())
    added = ", ".join(f"{_added(term)} as {name}" for name, term in SUMS.items())
    return f"with {steps} select cell, {counts}, {added} from paired group by cell order by cell"


def _added(term: str) -> str:
    return f"cast(coalesce({term}, 0) as double)"
