"""Events of rare measures in the order of their episodes, for g and t charts."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.measures.counting import ALL
from pipeline.measures.dimensions import DIMENSIONS, NOT_RECORDED, Value
from pipeline.measures.periods import last_final_month
from pipeline.measures.quarters import months_held
from pipeline.measures.series import Measures, Where, as_measures, condition_of
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

# Events a month above which they are not rare: each its own point would be thousands.
MOST_EVENTS = 10  # common practice, no source
Ints = NDArray[np.int64]
COLUMNS = ("month", "numerator", "catheters", "catheter_days", "provisional")


def event_order(
    store: Store,
    measures: Measures,
    *,
    by: str | None = None,
    with_total: bool = False,
    where: Where | None = None,
    months: tuple[str, str] | None = None,
    settings: Settings | None = None,
) -> "pl.DataFrame":
    """Place each event of some measures on the running count of catheters and catheter-days.

    Episodes stand in the order of month of placement, order within the month, and
    site. Only those whose numerator and denominator are known count.

    Parameters
    ----------
    store, measures, where, months, settings
        As for :func:`pipeline.measures.series.series`.
    by : str, optional
        A name of `DIMENSIONS`: each of its values has running counts of its own.
    with_total : bool
        With `by`: also count every episode together, under the value ``"all"``.

    Returns
    -------
    polars.DataFrame
        By measure in the order given, one row an episode with an event, in order:
        `measure`, the column `by` where asked for, `month`, `numerator` (events of
        that episode, mostly 1), `catheters` and `catheter_days` (running totals up
        to and including its catheter), `provisional`. A last row with a numerator
        of 0 stands at the end of the records, for the time since the last event,
        unless the last episode itself has one. Empty where no episode counts.

    Raises
    ------
    UsageError
        A measure, a name in `where` or a month is unknown.
    """
    import polars as pl

    chosen, as_of = as_measures(measures), store.as_of()
    if store.holds_counts:
        scopes = ["all"] * (by is None or with_total) + ["own"] * (by is not None)
        found = [_gathered(store, one, by, scopes, where, months, settings) for one in chosen]
    else:
        condition = condition_of(where, months)
        found = _counted(store, chosen, by, condition, with_total=with_total, settings=settings)
    group = [] if by is None else [by]
    return pl.concat(
        frame.with_columns(
            pl.lit(measure.name).alias("measure"),
            provisional=pl.col("month") > last_final_month(as_of, measure.follow_up_h),
        ).select("measure", *group, *COLUMNS)
        for measure, frame in zip(chosen, found, strict=True)
    )


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
    is_kept = known and begin <= first and session.holds_as_counted(store, measure, settings)
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


def _counted(
    store: Store,
    measures: Sequence[Measure],
    by: str | None,
    condition: tuple[str, Sequence[Value]],
    *,
    with_total: bool,
    settings: Settings | None,
) -> "list[pl.DataFrame]":
    """Return the events of each measure in their places, counted from the episodes."""
    import polars as pl

    session.bring_to_keys(store, measures, settings)
    episodes = _ordered(store, by, condition)
    scopes = [] if by is None else [_Scope.of(episodes["label"], episodes["days"])]
    if by is None or with_total:
        everyone = pl.repeat(ALL, len(episodes), eager=True)
        scopes.insert(0, _Scope.of(everyone, episodes["days"]))
    return [
        pl.concat([scope.placed(events, episodes) for scope in scopes]).rename(
            {} if by is None else {"label": by}
        )
        for events in _events(store, measures, episodes)
    ]


def _ordered(store: Store, by: str | None, chosen: tuple[str, Sequence[Value]]) -> "pl.DataFrame":
    """Return every episode asked for in order, with its group, month and catheter-days."""
    condition, params = chosen
    label = f"'{ALL}'" if by is None else f"coalesce({DIMENSIONS[by].as_text}, '{NOT_RECORDED}')"
    return store.frame(
        f"select episode_id, {label} as label, placed_month as month,"
        f" coalesce(catheter_days, 0) as days from {session.keyed('episode_dwell')}"
        f" where {condition} order by placed_month, month_order, site",
        params,
    )


def _events(store: Store, measures: Sequence[Measure], episodes: "pl.DataFrame") -> list[Ints]:
    """Return the events of each episode, by measure; -1 where they do not count."""
    keys = episodes["episode_id"].to_numpy()
    place = np.full(int(keys.max(initial=0)) + 1, len(keys))
    place[keys] = np.arange(len(keys))
    found = []
    for measure in measures:
        counted = store.frame(
            f"with {', '.join(session.steps([measure]))}, measured as (\n{measure.sql})"
            " select episode_id, cast(numerator as bigint) as numerator from measured"
            f" where numerator is not null and denominator > 0 and episode_id < {len(place)}"
        )
        events = np.full(len(keys) + 1, -1)  # the last stands for episodes not asked for
        events[place[counted["episode_id"].to_numpy()]] = counted["numerator"].to_numpy()
        found.append(events[:-1])
    return found


@dataclass(frozen=True, eq=False)
class _Scope:
    """Groups of episodes, laid one after the other.

    Attributes
    ----------
    labels : polars.Series, shape (k,)
        The group of each episode.
    order : int array, shape (k,)
        The episodes by group, each group in order.
    first : int array, shape (k,)
        Where in `order` the group of each place begins.
    last : int array, shape (groups,)
        Where in `order` each group ends.
    days : longdouble array, shape (k,)
        Catheter-days in `order`: of millions of catheters the sixth decimal of a running
        total needs more digits than a double has.
    """

    labels: "pl.Series"
    order: Ints
    first: Ints
    last: Ints
    days: NDArray[np.longdouble]

    @classmethod
    def of(cls, labels: "pl.Series", days: "pl.Series") -> "_Scope":
        import polars as pl

        code = labels.cast(pl.Enum(labels.unique().sort())).to_physical().to_numpy()
        sizes = np.bincount(code)
        ends = sizes.cumsum()
        order = np.argsort(code, kind="stable")
        ordered = days.to_numpy()[order].astype(np.longdouble)
        return cls(labels, order, np.repeat(ends - sizes, sizes), ends - 1, ordered)

    def placed(self, events: Ints, episodes: "pl.DataFrame") -> "pl.DataFrame":
        """Return a row an event, and one at the last episode of each group that counts."""
        x = events[self.order]
        counts = x >= 0
        latest = np.maximum.accumulate(np.where(counts, np.arange(x.size), -1))[self.last]
        rows = np.union1d(np.flatnonzero(x > 0), latest[latest >= self.first[self.last]])
        running = np.round(self._running(np.where(counts, self.days, 0), rows), 6)
        return episodes.select("month")[self.order[rows]].with_columns(
            label=self.labels[self.order[rows]],
            numerator=x[rows],
            catheters=self._running(counts.astype(np.int64), rows),
            catheter_days=running.astype(float),
        )

    def _running(self, values: "NDArray[Any]", rows: Ints) -> "NDArray[Any]":
        """Return the running total of a group at some places, each place included."""
        total = values.cumsum()
        first = self.first[rows]
        return total[rows] - total[first] + values[first]
