"""Events of a rare measure in the order of their episodes, for g and t charts."""

from typing import TYPE_CHECKING

from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.measures.periods import last_final_month
from pipeline.measures.series import Where, as_measures, condition_of
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl


def event_order(
    store: Store,
    measure: str | Measure,
    *,
    by: str | None = None,
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
    session.copy_what_is_read(store, [chosen])
    condition, params = condition_of(where, months)
    frame = store.frame(_event_sql(chosen, condition, settings, by), params)
    final = last_final_month(store.as_of(), chosen.follow_up_h)
    return frame.with_columns(provisional=pl.col("month") > final)


def _event_sql(measure: Measure, condition: str, settings: Settings | None, by: str | None) -> str:
    group = "" if by is None else f"cast({session.DIMENSIONS[by]} as varchar)"
    named = "" if by is None else f"{group} as {by}, "
    kept, parts = ("", "") if by is None else (f"{by}, ", f"partition by {by}")
    steps = ",\n".join(
        [
            *session.steps([measure], settings),
            f"measured as (\n{measure.sql})",
            f"""
        counted as (
            select {named}placed_month, month_order, chosen.site as at_site, measured.numerator,
                cast(catheter_days as decimal(18, 12)) as days
            from {session.keyed("episode_dwell")} as chosen
            inner join measured on chosen.episode_id = measured.episode_id
            where measured.numerator is not null and measured.denominator > 0 and {condition}
        )""",
            f"""
        running as (
            select {kept}placed_month, numerator,
                row_number() over in_order as catheters,
                sum(days) over in_order as catheter_days,
                count(*) over ({parts}) as total
            from counted
            window in_order as ({parts} order by placed_month, month_order, at_site)
        )""",
        ]
    )
    return f"""
        with {steps}
        select {kept}placed_month as month, cast(numerator as bigint) as numerator,
            cast(catheters as bigint) as catheters,
            round(cast(coalesce(catheter_days, 0) as double), 6) as catheter_days
        from running
        where numerator > 0 or catheters = total
        order by {kept}catheters"""
