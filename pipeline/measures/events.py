"""Events of a rare measure in the order of their episodes, for g and t charts."""

from typing import TYPE_CHECKING

from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.measures.counting import ALL
from pipeline.measures.dimensions import DIMENSIONS, NOT_RECORDED
from pipeline.measures.periods import last_final_month
from pipeline.measures.series import Where, as_measures, condition_of
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

# Of a place in the order of episodes: 17 bits for the month, 31 and 15 for the rest.
MONTH_NUMBER = (
    "(cast(substr(placed_month, 1, 4) as bigint) * 12 + cast(substr(placed_month, 6) as bigint))"
)
MOST_IN_A_MONTH, MOST_SITES = 2**31, 2**15


def event_order(
    store: Store,
    measure: str | Measure,
    *,
    by: str | None = None,
    with_total: bool = False,
    where: Where | None = None,
    months: tuple[str, str] | None = None,
    settings: Settings | None = None,
) -> "pl.DataFrame":
    """Place each event of a measure on the running count of catheters and catheter-days.

    Episodes stand in the order of month of placement, order within the month, and
    site. Only those whose numerator and denominator are known count. The reduction
    is done in the store: the frame has as many rows as there are events.

    Parameters
    ----------
    store, where, months, settings
        As for :func:`pipeline.measures.series.series`.
    measure : str or Measure
        The measure.
    by : str, optional
        A name of `DIMENSIONS`: each of its values has running counts of its own.
    with_total : bool
        With `by`: also count every episode together, under the value ``"all"``.

    Returns
    -------
    polars.DataFrame
        One row an episode with an event, in order: the column `by` where asked for,
        `month`, `numerator` (events of
        that episode, mostly 1), `catheters` and `catheter_days` (running totals up
        to and including its catheter), `provisional`. A last row with a numerator
        of 0 stands at the end of the records, for the time since the last event,
        unless the last episode itself has one. Empty where no episode counts.

    Raises
    ------
    UsageError
        The measure, a name in `where` or a month is unknown.
    """
    import polars as pl

    (chosen,) = as_measures(measure)
    session.copy_what_is_read(store, [chosen], settings)
    condition, params = condition_of(where, months)
    sql = _event_sql(chosen, condition, by, with_total=with_total)
    frame = store.frame(sql, params)
    final = last_final_month(store.as_of(), chosen.follow_up_h)
    return frame.with_columns(provisional=pl.col("month") > final)


def _event_sql(measure: Measure, condition: str, by: str | None, *, with_total: bool) -> str:
    group = "null" if by is None else f"coalesce({DIMENSIONS[by].as_text}, '{NOT_RECORDED}')"
    steps = [*session.steps([measure]), *_counted_steps(measure, condition, group)]
    parts = [] if by is None else [_running_sql("in_group", "in_group.label")]
    if by is None or with_total:
        parts.insert(0, _running_sql("everything", f"'{ALL}'"))
    named = "" if by is None else f"label as {by}, "
    return f"""
        with {", ".join(steps)}
        select {named}placed_month as month, cast(numerator as bigint) as numerator,
            cast(catheters as bigint) as catheters,
            round(cast(coalesce(catheter_days, 0) as double), 6) as catheter_days
        from ({" union all by name ".join(parts)})
        where numerator > 0 or catheters = total
        order by {"" if by is None else f"label = '{ALL}' desc, label, "}catheters"""


def _counted_steps(measure: Measure, condition: str, group: str) -> list[str]:
    """Return the steps that give each episode its group and its place in the order.

    The place is one whole number of the month, the order within it and the site:
    windows sort by numbers several times as fast as by texts.
    """
    dwell = session.keyed("episode_dwell")
    return [
        f"measured as (\n{measure.sql})",
        f"""
        at_site as (
            select site, row_number() over (order by site) as number
            from (select distinct site from {dwell})
        )""",
        f"""
        labelled as (
            select episode_id, {group} as label, catheter_days,
                {MONTH_NUMBER} * {MOST_IN_A_MONTH} * {MOST_SITES}
                    + cast(month_order as bigint) * {MOST_SITES} + at_site.number as place,
                placed_month
            from {dwell} inner join at_site using (site) where {condition}
        )""",
        """
        counted as materialized (
            select label, place, placed_month, measured.numerator,
                cast(catheter_days as decimal(18, 12)) as days
            from labelled inner join measured using (episode_id)
            where measured.numerator is not null and measured.denominator > 0
        )""",
        """
        everything as (select null as label, 0 as number, count(*) as total, 0 as catheters,
            0 as days from counted)""",
        """
        in_group as (
            select label, row_number() over (order by label) as number, total,
                sum(total) over (order by label) - total as catheters,
                sum(days) over (order by label) - days as days
            from (select label, count(*) as total, sum(days) as days from counted group by label)
        )""",
    ]


def _running_sql(groups: str, label: str) -> str:
    """Return the running counts of each group, as those of all less what lies before it."""
    same = (
        "true" if groups == "everything" else f"{groups}.label is not distinct from counted.label"
    )
    return f"""
        select {label} as label, placed_month, numerator, total,
            row_number() over in_order - {groups}.catheters as catheters,
            sum(counted.days) over in_order - {groups}.days as catheter_days
        from counted inner join {groups} on {same}
        window in_order as (order by number, place rows unbounded preceding)"""
