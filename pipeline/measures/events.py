"""Events of a rare measure in the order of their episodes, for g and t charts."""

from collections.abc import Sequence
from hashlib import sha1
from typing import TYPE_CHECKING, Any

from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.measures.counting import ALL
from pipeline.measures.dimensions import DIMENSIONS, NOT_RECORDED, Value
from pipeline.measures.periods import last_final_month
from pipeline.measures.quarters import months_held
from pipeline.measures.series import Where, as_measures, condition_of
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

# Events a month above which they are not rare: each its own point would be thousands.
MOST_EVENTS = 10  # common practice, no source
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
    scopes = ["own"] if by is not None else []
    if by is None or with_total:
        scopes.insert(0, "all")
    if store.holds_counts:
        frame = _gathered(store, chosen, by, scopes, where, months, settings)
    else:
        session.copy_what_is_read(store, [chosen], settings)
        ordered = _ordered(store, by, condition_of(where, months))
        frame = store.frame(_event_sql(chosen, ordered, by, scopes))
    final = last_final_month(store.as_of(), chosen.follow_up_h)
    return frame.with_columns(provisional=pl.col("month") > final)


def _gathered(  # noqa: PLR0917 - as `event_order` takes them
    store: Store,
    measure: Measure,
    by: str | None,
    scopes: Sequence[str],
    where: Where | None,
    months: tuple[str, str] | None,
    settings: Settings | None,
) -> "pl.DataFrame":
    """Return the events gathered, up to a month: the catheter counted last closes them."""
    site: Any = (where or {}).get("site", ALL)
    sites = [site] if isinstance(site, str) else list(site)
    first, last = months_held(store)
    begin, end = months or (first, last)
    known = store.rows("select 1 from gathered_event where measure = ? limit 1", [measure.name])
    is_kept = known and begin <= first and session.holds_by_default(measure, settings)
    if not is_kept or by not in {None, "site"} or set(where or {}) - {"site"} or len(sites) != 1:
        raise store.needs_episodes(f"the wait between events of {measure.name} asked so")
    of = f"site <> '{ALL}'" if scopes == ["own"] else "true" if by else "site = $site"
    named = "" if by is None else "site, "
    return store.frame(
        f"select {named}month, numerator, catheters,"
        " round(cast(coalesce(catheter_days, 0) as double), 6) as catheter_days"
        f" from gathered_event where measure = $measure and month <= $end and {of}"
        " qualify numerator > 0 or catheters = max(catheters) over (partition by site)"
        f" order by site = '{ALL}' desc, site, catheters",
        {"measure": measure.name, "end": end, **({} if by else {"site": sites[0]})},
    )


def _ordered(store: Store, by: str | None, chosen: tuple[str, Sequence[Value]]) -> str:
    """Keep every episode's place in the order, of all and in its group, once a session.

    The order is one whole number of the month, the order within it and the site:
    windows sort by numbers several times as fast as by texts.
    """
    condition, params = chosen
    group = "null" if by is None else f"coalesce({DIMENSIONS[by].as_text}, '{NOT_RECORDED}')"
    name = f"ordered_{sha1(repr((group, condition, params)).encode()).hexdigest()[:16]}"
    dwell = session.keyed("episode_dwell")
    store.rows(
        f"""
        create temp table if not exists {name} as
        with at_site as (
            select site, row_number() over (order by site) as number
            from (select distinct site from {dwell})
        ),
        labelled as (
            select episode_id, {group} as label, placed_month,
                cast(catheter_days as decimal(18, 12)) as days,
                {MONTH_NUMBER} * {MOST_IN_A_MONTH} * {MOST_SITES}
                    + cast(month_order as bigint) * {MOST_SITES} + at_site.number as place
            from {dwell} inner join at_site using (site) where {condition}
        )
        select episode_id, label, placed_month, days,
            row_number() over of_all as nth_all, sum(days) over of_all as days_all,
            row_number() over of_own as nth_own, sum(days) over of_own as days_own
        from labelled
        window of_all as (order by place rows unbounded preceding),
            of_own as (partition by label order by place rows unbounded preceding)""",
        params,
    )
    return name


def _event_sql(measure: Measure, ordered: str, by: str | None, scopes: Sequence[str]) -> str:
    """Return a row an event: its place less the episodes before it that do not count."""
    named = "" if by is None else f"label as {by}, "
    first = "" if by is None else f"label = '{ALL}' desc, label, "
    return f"""
        with {", ".join(session.steps([measure]))},
        measured as (\n{measure.sql}),
        marked as materialized (
            select {ordered}.*, numerator,
                coalesce(numerator is not null and denominator > 0, false) as counts
            from {ordered} left join measured using (episode_id)
        )
        select {named}placed_month as month, cast(numerator as bigint) as numerator,
            catheters, round(cast(coalesce(catheter_days, 0) as double), 6) as catheter_days
        from ({" union all by name ".join(map(_placed_sql, scopes))})
        where counts and (numerator > 0 or nth = last_nth)
        order by {first}catheters"""


def _placed_sql(scope: str) -> str:
    """Return the events, the last that counts, and those that do not, each in its place."""
    label = f"'{ALL}'" if scope == "all" else "label"
    return f"""
        select *, nth - count(case when not counts then 1 end) over so_far as catheters,
            total_days - coalesce(sum(case when not counts then days end) over so_far, 0)
                as catheter_days
        from (
            select {label} as label, placed_month, numerator, counts, days,
                nth_{scope} as nth, days_{scope} as total_days, last_nth
            from marked inner join (
                select {label} as name, max(case when counts then nth_{scope} end) as last_nth
                from marked group by name
            ) on {label} is not distinct from name
            where not counts or numerator > 0 or nth_{scope} = last_nth
        )
        window so_far as (partition by label order by nth rows unbounded preceding)"""
