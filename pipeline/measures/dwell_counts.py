"""Episodes reduced in the store to counts by hour, reason and group.

One pass each over the rows of `episode_dwell` that the store keeps ready; what comes back
does not grow with the number of episodes, only with the distinct hours, groups and
covariate patterns.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.dimensions import DIMENSIONS, NOT_RECORDED, PERIODS, grouped_by
from pipeline.measures.where import EVERYTHING, Condition
from pipeline.records.codes import RemovalReason
from pipeline.store import Store, ready

if TYPE_CHECKING:
    import polars as pl

EPISODES = ready("episode_dwell")
REASONS = (*(reason.value for reason in RemovalReason), NOT_RECORDED)
UNPLANNED = f"is_removed and reason not in ('completed', '{NOT_RECORDED}')"
TERMS = tuple(name for name in DIMENSIONS if name not in PERIODS)


def removal_rows(
    store: Store,
    by: str | None = None,
    *,
    strata: str | None = None,
    where: Condition = EVERYTHING,
    months: tuple[str, str] | None = None,
) -> pl.DataFrame:
    """Count removals by hour and reason, in all or in each group.

    Parameters
    ----------
    store : Store
        An open store.
    by, strata : str, optional
        A name of `GROUPED_BY`.
    where : Condition
        Which episodes.
    months : tuple of str, optional
        First and last month of placement, YYYY-MM.

    Returns
    -------
    polars.DataFrame
        `stratum` and `group` (empty text without `strata` or `by`), `hours` in place
        (null where the dwell is not known), `reason` (null where no removal is
        known), `n` episodes and `midpoints` of them whose removal is known only as an
        interval; sorted.

    Raises
    ------
    UsageError
        Episodes cannot be grouped so.
    NoDataError
        No episode with a known dwell is left.
    """
    condition, params = episode_condition(where, months)
    # A constant among the groups would be hashed with every episode.
    named = [name for name, asked in (("stratum", strata), ('"group"', by)) if asked]
    if store.holds_counts:
        _only_all(store, where, months, strata)
        frame = store.frame(
            "select '' as stratum, * exclude (grouped_by) from gathered_removal"
            " where grouped_by = ? order by all",
            [by or "all"],
        )
    else:
        frame = store.frame(
            f'select {_group(strata)} as stratum, {_group(by)} as "group",'
            " dwell_h as hours, reason, count(*) as n,"
            " count(case when dwell_basis = 'interval' then 1 end) as midpoints"
            f" from {EPISODES} where {condition}"
            f" group by {', '.join([*named, 'hours', 'reason'])}"
            ' order by stratum, "group", hours, reason',
            params,
        )
    if frame["hours"].null_count() == frame.height:
        raise NoDataError(
            "No episode with a known dwell fits what was asked.", try_next="dwell status"
        )
    return frame


def interval_rows(
    store: Store, *, where: Condition = EVERYTHING, months: tuple[str, str] | None = None
) -> pl.DataFrame:
    """Count episodes by the interval within which they were removed.

    Columns `after_h`, `before_h` (infinite where no removal is known) and `n`.
    """
    if store.holds_counts:
        _only_all(store, where, months)
        return store.frame("select * from gathered_interval order by all")
    condition, params = episode_condition(where, months)
    return store.frame(
        "select left_h as after_h, coalesce(right_h, cast('infinity' as double)) as before_h,"
        f" count(*) as n from {EPISODES} where is_dwell_known and {condition}"
        " group by after_h, before_h order by after_h, before_h",
        params,
    )


def planned_end_rows(
    store: Store, *, where: Condition = EVERYTHING, months: tuple[str, str] | None = None
) -> pl.DataFrame:
    """Count episodes by planned course and hours from the planned end.

    Columns `group` (shortest plans first), `from_end_h` (negative before the end),
    `is_removed` and `n`.
    """
    condition, params = episode_condition(where, months)
    rows = store.frame(
        'select planned_course as "group", dwell_h - planned_dwell_h as from_end_h, is_removed,'
        f" count(*) as n from {EPISODES}"
        f" where is_dwell_known and {condition}"
        " group by all order by all",
        params,
    )
    return rows.sort(rows["group"].str.starts_with("over"), maintain_order=True)


def model_rows(
    store: Store,
    terms: Sequence[str],
    *,
    where: Condition = EVERYTHING,
    months: tuple[str, str] | None = None,
) -> pl.DataFrame:
    """Count episodes by covariate pattern, hour and reason, as `fit_removal_model` takes them.

    Episodes of a child with several stand in rows of their own, with the child's
    number in `child`. The rows are in no order.

    Raises
    ------
    UsageError
        A term is not one of `TERMS`.
    """
    chosen = episode_condition(where, months)
    return _pattern_rows(store, "dwell_h as hours, reason", ("hours", "reason"), terms, chosen)


def unplanned_rows(
    store: Store,
    terms: Sequence[str],
    *,
    where: Condition = EVERYTHING,
    months: tuple[str, str] | None = None,
) -> pl.DataFrame:
    """Count episodes by covariate pattern and interval of unplanned removal.

    Columns as for :func:`model_rows`, with `after_h` and `before_h` in place of `hours`, and
    `reason` "unplanned" or null. A course that was completed, or whose reason is not
    recorded, is known without unplanned removal to `after_h`; `before_h` is then infinite.
    """
    return _pattern_rows(
        store,
        f"left_h as after_h, case when {UNPLANNED} then right_h else 'infinity'::double end"
        f" as before_h, case when {UNPLANNED} then 'unplanned' end as reason",
        ("after_h", "before_h", "reason"),
        terms,
        episode_condition(where, months),
    )


def _pattern_rows(
    store: Store,
    selected: str,
    names: Sequence[str],
    terms: Sequence[str],
    condition: tuple[str, list[str | float | bool]],
) -> pl.DataFrame:
    """Count episodes by what is selected (as `names`), the terms, and the child of several."""
    columns = term_columns(terms)
    distinct = list(dict.fromkeys(terms))
    grouped = ", ".join([*names, "child", *distinct])
    return store.frame(
        f"with chosen as (select patient_key, {selected}{columns}"
        f" from {EPISODES} where is_dwell_known and {condition[0]}),"
        " several as (select patient_key, row_number() over (order by patient_key) as child"
        " from chosen where patient_key is not null group by patient_key having count(*) > 1)"
        f" select {grouped}, count(*) as n"
        " from chosen left join several using (patient_key)"
        " group by all",
        condition[1],
    )


def survival_rows(
    store: Store,
    terms: Sequence[str],
    *,
    where: Condition = EVERYTHING,
    months: tuple[str, str] | None = None,
) -> pl.DataFrame:
    """Return a row an episode of known dwell, as survival libraries take them.

    Columns `duration`, `event` (unplanned removal), `reason`, `entry`, `lower_bound`,
    `upper_bound` (infinite without the event), `child` (a number of its own), the terms.
    """
    condition, params = episode_condition(where, months)
    return store.frame(
        f"select dwell_h as duration, {UNPLANNED} as event, reason, 0.0::double as entry,"
        " left_h as lower_bound,"
        f" case when {UNPLANNED} then right_h else 'infinity'::double end as upper_bound,"
        " dense_rank() over (order by coalesce(patient_key, 'episode ' || episode_id)) as child"
        f"{term_columns(terms)} from {EPISODES} where is_dwell_known and {condition}"
        " order by episode_id",
        params,
    )


def term_columns(terms: Sequence[str]) -> str:
    """Return the SQL of a model's terms, each after a comma; raises `UsageError`."""
    for term in terms:
        if term not in TERMS:
            raise UsageError(
                f"A model cannot be adjusted for {term}.", try_next=f"one of {', '.join(TERMS)}"
            )
    return "".join(f", {DIMENSIONS[term].column} as {term}" for term in dict.fromkeys(terms))


def clock_rows(
    store: Store, *, where: Condition = EVERYTHING, months: tuple[str, str] | None = None
) -> pl.DataFrame:
    """Count episodes by clock hour of placement, hours in place and reason.

    Removals known only as an interval have no clock hour and are left out.
    """
    if store.holds_counts:
        _only_all(store, where, months)
        return store.frame("select * from gathered_clock order by all")
    condition, params = episode_condition(where, months)
    return store.frame(
        f"select placed_hour, dwell_h, reason, count(*) as n from {EPISODES}"
        " where dwell_basis in ('exact', 'last_known') and placed_hour is not null"
        f" and {condition} group by placed_hour, dwell_h, reason"
        " order by placed_hour, dwell_h, reason",
        params,
    )


def pump_rows(
    store: Store, *, where: Condition = EVERYTHING, months: tuple[str, str] | None = None
) -> pl.DataFrame:
    """Count episodes by flow rate, filled volume and hours in place."""
    if store.holds_counts:
        _only_all(store, where, months)
        return store.frame("select * from gathered_pump order by all")
    condition, params = episode_condition(where, months)
    named = "rate_ml_h, reservoir_ml, dwell_h, is_removed"
    return store.frame(
        f"select {named}, count(*) as n from {EPISODES} where is_dwell_known and {condition}"
        f" group by {named} order by {named}",
        params,
    )


def episode_condition(
    where: Condition, months: tuple[str, str] | None
) -> tuple[str, list[str | float | bool]]:
    """Return the SQL of a condition and months, and what is bound in it."""
    if months is None:
        return where.sql, list(where.params)
    return f"({where.sql}) and placed_month between ? and ?", [*where.params, *months]


def _only_all(
    store: Store, where: Condition, months: tuple[str, str] | None, strata: str | None = None
) -> None:
    """Refuse some of the episodes where a store holds counts of all."""
    if where != EVERYTHING or months is not None or strata is not None:
        raise store.needs_episodes("time in place of some of the episodes, or within strata,")


def _group(by: str | None) -> str:
    """Return the SQL of a group's name as text."""
    if by is None:
        return "''"
    return f"coalesce({grouped_by(by).as_text}, '{NOT_RECORDED}')"
