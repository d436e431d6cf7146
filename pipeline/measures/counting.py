"""The select that counts measures in groups: from what is counted ready, or from episodes."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.measures import session
from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.measures.companions import companions
from pipeline.measures.dimensions import DIMENSIONS, GROUPED_BY, NOT_RECORDED, PERIODS, Holds, Value
from pipeline.settings import Settings
from pipeline.store import COUNTED_BY, READY_COUNTS, Store, counts_sql

if TYPE_CHECKING:
    import polars as pl

ALL = "all"
COUNTS = (
    "numerator",
    "denominator",
    "episodes",
    "ascertained",
    "with_event",
    "missing_denominator",
)


def count_groups(
    store: Store,
    measures: Sequence[Measure],
    by: Sequence[str],
    condition: tuple[str, Sequence[Value]],
    *,
    ready_rows: str | None,
    settings: Settings | None,
    with_total: bool,
) -> "pl.DataFrame":
    """Return `COUNTS` of each measure and group that has episodes, and its `last_month`.

    Parameters
    ----------
    store : Store
        An open store.
    measures, by, settings, with_total
        As `series` takes them.
    condition : tuple
        SQL on the columns of `episode_dwell`, and its bound values.
    ready_rows : str, optional
        SQL of ready counts by what groups and condition name, where there are such.
    """
    sql, params = condition
    columns = [DIMENSIONS[name].column for name in by]
    kept = [m for m in measures if ready_rows and _is_counted_ready(store, m, settings)]
    rest = [m for m in measures if m not in kept]
    if rest and store.holds_counts:
        raise store.needs_episodes(f"counting {rest[0].name} in this way")
    steps, counted = list[str](), list[str]()
    if kept:
        counted.append(_kept_sql(kept, columns, sql, str(ready_rows)))
    if rest:
        session.bring_to_keys(store, rest, settings)
        steps += [*session.steps(rest), *_cell_steps(columns, sql)]
        counted += [_count_sql(measure) for measure in rest]
    steps.append("counted as (" + "\nunion all by name\n".join(counted) + ")")
    added_up = _add_up_sql(by, columns, with_total=with_total)
    used = bool(kept) + bool(rest)
    return store.frame(f"with {', '.join(steps)}\n{added_up}", [*params] * used)


def _is_counted_ready(store: Store, measure: Measure, settings: Settings | None) -> bool:
    """Whether a measure's ready counts hold: they are made under settings of the store."""
    known = (counted_beside() if store.holds_counts else load_catalogue()).get(measure.name)
    if known is None or known.sql != measure.sql:
        return False
    return session.holds_as_counted(store, measure, settings)


def _cells(columns: Sequence[str]) -> list[str]:
    return list(dict.fromkeys([*columns, "placed_month"]))


def _kept_sql(
    measures: Sequence[Measure], columns: Sequence[str], condition: str, rows: str
) -> str:
    names = ", ".join(f"'{measure.name}'" for measure in measures)
    return (
        f"select measure, {', '.join([*_cells(columns), *COUNTS])} from {rows}"
        f" where measure in ({names}) and {condition}"
    )


def _cell_steps(columns: Sequence[str], condition: str) -> list[str]:
    """Return the steps that put every episode into its cell.

    A cell is a combination of the groups and the month, numbered once, so that
    every measure is joined and grouped by whole numbers.
    """
    cells = ", ".join(_cells(columns))
    same = " and ".join(f"chosen.{c} is not distinct from cell.{c}" for c in _cells(columns))
    return [
        f"chosen as materialized (select episode_id, {cells}"
        f" from {session.keyed('episode_dwell')} where {condition})",
        "cell as materialized (select cast(row_number() over () as integer) as cell,"
        f" * from (select distinct {cells} from chosen))",
        "episode_cell as materialized (select chosen.episode_id, cell.cell from chosen"
        f" inner join cell on {same})",
    ]


def _count_sql(measure: Measure) -> str:
    return f"""
        select * exclude (cell) from (
            select '{measure.name}' as measure, cell, {counts_sql(f"({measure.sql})")}
            inner join episode_cell using (episode_id)
            group by cell
        ) inner join cell using (cell)"""


def _add_up_sql(by: Sequence[str], columns: Sequence[str], *, with_total: bool) -> str:
    shown = [
        f"case when grouping({column}) = 1 then '{ALL}'"
        f" else coalesce({DIMENSIONS[name].as_text}, '{NOT_RECORDED}') end as {name}"
        for name, column in zip(by, columns, strict=True)
    ]
    sets = [list(columns)]
    if with_total and set(by) - set(PERIODS):
        sets.append([DIMENSIONS[name].column for name in by if name in PERIODS])
    grouping = ", ".join(f"({', '.join(['measure', *group])})" for group in sets)
    return f"""
        select {", ".join(["measure", *shown])},
            cast(coalesce(sum(numerator), 0) as bigint) as numerator,
            round(cast(coalesce(sum(denominator), 0) as double), 6) as denominator,
            cast(sum(episodes) as bigint) as episodes,
            cast(sum(ascertained) as bigint) as ascertained,
            cast(sum(with_event) as bigint) as with_event,
            round(cast(coalesce(sum(missing_denominator), 0) as double), 6)
                as missing_denominator,
            max(placed_month) as last_month
        from counted
        group by grouping sets ({grouping})"""


def ready_rows_by(store: Store, names: Sequence[str]) -> str | None:
    """Return SQL of the ready counts by some dimensions; None where there are none."""
    others = {n for n in names if n not in DIMENSIONS or DIMENSIONS[n].column not in COUNTED_BY}
    if not others:
        return READY_COUNTS
    if not store.holds_counts or len(others) > 1 or "site" in names:
        return None
    (name,) = others
    if name not in GROUPED_BY:
        return None
    is_yes = DIMENSIONS[name].holds is Holds.YES_NO
    level = "case level when 'yes' then true when 'no' then false end" if is_yes else "level"
    return f"(select *, {level} as {name} from gathered_group where grouped_by = '{name}')"


def counted_beside() -> dict[str, Measure]:
    """Return every card that is counted where records stay: measures and their companions."""
    beside = (card for measure in load_catalogue().values() for card in companions(measure))
    return {**load_catalogue(), **{card.name: card for card in beside}}
