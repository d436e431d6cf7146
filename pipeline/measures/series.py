"""Counts of the measures by month, quarter or group, from the store."""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure, find_measure
from pipeline.measures.counting import COUNTS, count_groups, ready_rows_by
from pipeline.measures.dimensions import PERIODS, Value, grouped_by
from pipeline.measures.periods import last_final_month, months_between, months_of, quarter_of
from pipeline.measures.where import Condition
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

# A condition may stand under any name that is not a dimension's.
Where = Mapping[str, Value | Sequence[Value] | Condition]
Measures = str | Measure | Iterable[str | Measure]


def series(
    store: Store,
    measures: Measures,
    by: Sequence[str] = ("month",),
    *,
    where: Where | None = None,
    months: tuple[str, str] | None = None,
    with_total: bool = False,
    settings: Settings | None = None,
) -> "pl.DataFrame":
    """Count each measure in each group.

    An episode counts, numerator and denominator both, in its month of placement.
    Only episodes whose numerator and denominator are known make a rate; the others
    are in `episodes` and not in `ascertained`.

    Parameters
    ----------
    store : Store
        An open store.
    measures : str, Measure, or several of them
        What to count.
    by : sequence of str
        Names of `DIMENSIONS`; none gives one row a measure. With a month or a
        quarter, every period from the first to the last has a row in every
        group, with zeros where nothing was placed.
    where : mapping, optional
        A name of `DIMENSIONS` and the value, or values, to keep; or any other name and
        a condition that episodes must meet.
    months : tuple of str, optional
        First and last month of placement to keep, YYYY-MM.
    with_total : bool
        Also give every group together: rows in which the columns of `by` other
        than periods are ``"all"``.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Returns
    -------
    polars.DataFrame
        `measure`, the columns of `by` as text, `numerator` (events),
        `denominator` (in the measure's own count: catheters, catheter-days,
        removals or calls), `episodes` that the measure applies to,
        `ascertained` of them, `with_event` (episodes with at least one event,
        counted once, however many events it has), `missing_denominator` (of those not
        ascertained, as far as known) and `provisional`; sorted.

    Raises
    ------
    UsageError
        A measure, a name in `by` or `where`, or a month is unknown.
    NoDataError
        No episode is left.
    """
    chosen = as_measures(measures)
    for name in by:
        grouped_by(name)
    condition = condition_of(where, months)
    # A name that holds a condition may look at any column.
    free = any(isinstance(value, Condition) for value in (where or {}).values())
    ready_rows = None if free else ready_rows_by(store, [*by, *(where or {})])
    frame = count_groups(
        store, chosen, by, condition, ready_rows=ready_rows, settings=settings,
        with_total=with_total,
    )  # fmt: skip
    if frame.is_empty():
        raise NoDataError("No episode fits what was asked.", try_next="dwell status")
    as_of = store.as_of()
    final = {measure.name: last_final_month(as_of, measure.follow_up_h) for measure in chosen}
    return _complete(frame, list(by), final)


def as_measures(measures: Measures) -> list[Measure]:
    """Return measures from names, one or several; raises `UsageError`."""
    several = [measures] if isinstance(measures, str | Measure) else list(measures)
    return [find_measure(item) if isinstance(item, str) else item for item in several]


def condition_of(where: Where | None, months: tuple[str, str] | None) -> tuple[str, list[Value]]:
    """Return the SQL condition on `episode_dwell` and its bound values."""
    parts, params = ["true"], list[Value]()
    for name, wanted in (where or {}).items():
        if isinstance(wanted, Condition):
            parts.append(wanted.sql)
            params += wanted.params
            continue
        values = [wanted] if isinstance(wanted, str) or not isinstance(wanted, Sequence) else wanted
        column = grouped_by(name).column
        parts.append(f"({' or '.join([_equals(column, value) for value in values]) or 'false'})")
        params += [value for value in values if value is not None]
    if months is not None:
        parts.append("placed_month between ? and ?")
        params += list(months)
    return " and ".join(parts), params


def _equals(column: str, value: Value) -> str:
    if value is None:
        return f"{column} is null"
    if isinstance(value, bool):
        return f"{column} = ?"
    return f"cast({column} as varchar) = cast(? as varchar)"


def _complete(frame: "pl.DataFrame", by: list[str], final: Mapping[str, str]) -> "pl.DataFrame":
    """Add the periods in which nothing was placed, and say what is provisional."""
    import polars as pl

    periods = [name for name in by if name in PERIODS]
    if periods:
        frame = _with_empty_periods(frame, by, periods)
    last_month = _last_month_of(periods)
    return (
        frame.with_columns(
            pl.col(COUNTS).fill_null(0),
            provisional=last_month
            > pl.col("measure").replace_strict(dict(final), return_dtype=pl.String),
        )
        .select("measure", *by, *COUNTS, "provisional")
        .sort("measure", *by)
    )


def _last_month_of(periods: Sequence[str]) -> "pl.Expr":
    """Last month of each row: of its period, or the last with an episode in it."""
    import polars as pl

    if "month" in periods:
        return pl.col("month")
    if "quarter" in periods:
        quarter = pl.col("quarter").str.slice(6).cast(pl.Int32)
        month = (quarter * 3).cast(pl.String).str.zfill(2)
        return pl.col("quarter").str.slice(0, 5) + month
    return pl.col("last_month")


def _with_empty_periods(frame: "pl.DataFrame", by: list[str], periods: list[str]) -> "pl.DataFrame":
    """Give every group a row for every period; the added rows hold nulls."""
    import polars as pl

    found = frame[periods[0]].sort()
    first, last = str(found[0]), str(found[-1])
    if periods[0] == "quarter":
        first, last = months_of(first)[0], months_of(last)[1]
    months = months_between(first, last)
    spine = pl.DataFrame({"month": months, "quarter": [quarter_of(month) for month in months]})
    groups = frame.select(["measure", *[name for name in by if name not in periods]]).unique()
    grid = groups.join(spine.select(periods).unique(), how="cross")
    return grid.join(frame, on=["measure", *by], how="left")
