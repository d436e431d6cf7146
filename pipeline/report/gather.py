"""Everything that the quarterly report is made from, collected once from the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.analysis.charts import Change, ControlChart, Counts, control_chart
from pipeline.analysis.rates import rates
from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.measures.periods import months_of
from pipeline.measures.series import series
from pipeline.report import words
from pipeline.report.findings import Finding, Rate, judge
from pipeline.report.front import Facts
from pipeline.report.narrative import LoggedChange
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

QUARTERS_SHOWN = 8


def check_quarter(store: Store, quarter: str) -> None:
    """Refuse a quarter without episodes, naming what the store holds.

    Raises
    ------
    UsageError
        It is no quarter.
    NoDataError
        The store holds no episode placed in it.
    """
    months_of(quarter)
    ((first, last, found),) = store.rows(
        "select min(placed_quarter), max(placed_quarter),"
        " count(case when placed_quarter = ? then 1 end) from episode_dwell",
        [quarter],
    )
    if first is None:
        raise NoDataError("The store holds no episodes.", try_next="dwell load FOLDER")
    if not found:
        raise NoDataError(
            f"No episodes in {quarter}: the store holds {first} to {last}.",
            try_next=f"dwell report {last}",
        )


def logged_changes(store: Store, last_month: str) -> list[LoggedChange]:
    """Return the improvement log up to a month, sites by their labels."""
    labels = dict(store.rows("select site, label from site"))
    rows = store.rows(
        "select change_id, started_month, sites, title, measures, new_phase from change"
        " where started_month <= ? order by started_month, change_id",
        [last_month],
    )
    return [
        LoggedChange(
            started=started,
            title=title,
            sites=tuple(labels.get(site, site) for site in _codes(sites)),
            measures=_codes(measures),
            change_id=change_id,
            new_phase=bool(new_phase),
        )
        for change_id, started, sites, title, measures, new_phase in rows
    ]


def _codes(text: str | None) -> tuple[str, ...]:
    """Return the codes of a list; none where it says all, or nothing."""
    codes = tuple(code.strip() for code in (text or "").split(";") if code.strip())
    return () if codes == ("all",) else codes


def findings(
    store: Store, quarter: str, settings: Settings, changes: Sequence[LoggedChange]
) -> tuple[Finding, ...]:
    """Return every measure's figures, chart and verdict up to a quarter."""
    measures = list(load_catalogue().values())
    until = months_of(quarter)[1]
    monthly = series(store, measures, ("month",), months=("0001-01", until), settings=settings)
    by_quarter = series(store, measures, ("quarter",), months=("0001-01", until), settings=settings)
    return tuple(
        _finding(
            measure,
            quarter,
            monthly.filter(monthly["measure"] == measure.name),
            by_quarter.filter(by_quarter["measure"] == measure.name),
            changes=[c for c in changes if not c.measures or measure.name in c.measures],
            target=settings.targets.get(measure.name, measure.target),
        )
        for measure in measures
    )


def _finding(
    measure: Measure,
    quarter: str,
    monthly: pl.DataFrame,
    by_quarter: pl.DataFrame,
    *,
    changes: Sequence[LoggedChange],
    target: float | None,
) -> Finding:
    counts = _counts(monthly)
    chart = _chart(measure, counts, changes)
    before = _until(counts, months_of(words.quarter_before(quarter))[1])
    shown = _quarter_rates(measure, quarter, by_quarter)
    better = measure.better.value
    return Finding(
        measure=measure,
        now=shown[-1],
        year_before=_year_before(measure, quarter, by_quarter),
        quarters=shown,
        chart=chart,
        verdict=judge(chart, quarter, better),
        verdict_before=judge(
            _chart(measure, before, changes), words.quarter_before(quarter), better
        ),
        target=target,
    )


def _counts(frame: pl.DataFrame) -> Counts:
    return Counts(
        periods=tuple(frame["month"]),
        numerator=frame["numerator"].to_numpy().astype(float),
        denominator=frame["denominator"].to_numpy().astype(float),
        provisional=frame["provisional"].to_numpy(),
    )


def _until(counts: Counts, month: str) -> Counts:
    keep = np.array([period <= month for period in counts.periods], bool)
    return Counts(
        periods=tuple(period for period in counts.periods if period <= month),
        numerator=counts.numerator[keep],
        denominator=counts.denominator[keep],
        provisional=counts.provisional[keep],
    )


def _chart(measure: Measure, counts: Counts, changes: Sequence[LoggedChange]) -> ControlChart:
    last = counts.periods[-1] if counts.periods else ""
    log = [
        Change(c.started, c.title, c.new_phase, c.change_id) for c in changes if c.started <= last
    ]
    kind = measure.charts[0].value
    return control_chart(
        counts,
        kind="u" if kind in {"t", "g"} else kind,
        changes=log,
        multiplier=measure.multiplier,
        unit=measure.unit,
    )


def _quarter_rates(measure: Measure, quarter: str, by_quarter: pl.DataFrame) -> tuple[Rate, ...]:
    """Return the last eight quarters; those before the first placement have no figures."""
    rows = {row["quarter"]: row for row in by_quarter.to_dicts()}
    periods = [words.quarter_before(quarter, back) for back in range(QUARTERS_SHOWN - 1, -1, -1)]
    return tuple(rate_of(measure, period, rows.get(period)) for period in periods)


def _year_before(measure: Measure, quarter: str, by_quarter: pl.DataFrame) -> Rate:
    """Return the four quarters before together."""
    periods = {words.quarter_before(quarter, back) for back in range(1, 5)}
    rows = [row for row in by_quarter.to_dicts() if row["quarter"] in periods]
    parts = ("numerator", "denominator", "episodes", "ascertained", "missing_denominator")
    total = {part: sum(row[part] for row in rows) for part in parts}
    return rate_of(measure, "year-before", total | {"provisional": False} if rows else None)


def rate_of(measure: Measure, period: str, row: Mapping[str, Any] | None) -> Rate:
    """Return a rate with limits from a row of counts; no figures where there is none."""
    nan = float("nan")
    if row is None or not row["denominator"] > 0:
        episodes = row["episodes"] if row else 0
        return Rate(period, 0.0, 0.0, episodes, 0, nan, nan, nan)
    found = rates(
        row["numerator"],
        row["denominator"],
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
    )
    return Rate(
        period=period,
        numerator=float(row["numerator"]),
        denominator=float(row["denominator"]),
        episodes=int(row["episodes"]),
        ascertained=int(row["ascertained"]),
        rate=float(found.rate),
        lower=float(found.lower),
        upper=float(found.upper),
        provisional=bool(row["provisional"]),
    )


def facts(
    store: Store, quarter: str, settings: Settings, *, audience: str, small_cell: int
) -> Facts:
    """Return the size of a quarter and what its figures are made from."""
    ((sites, catheters, days, unknown),) = store.rows(
        "select count(distinct site), count(*), coalesce(sum(catheter_days), 0),"
        " count(case when not is_dwell_known then 1 end)"
        " from episode_dwell where placed_quarter = ?",
        [quarter],
    )
    ((contacts, reached),) = store.rows(
        "select count(*), count(case when contact.reached then 1 end) from contact"
        " inner join episode_dwell using (episode_id)"
        " where contact.direction = 'service' and placed_quarter = ?",
        [quarter],
    )
    ((waiting,),) = store.rows("select count(*) from set_aside where cleared_by is null")
    return Facts(
        quarter=quarter,
        network=settings.network,
        sites=sites,
        catheters=catheters,
        catheter_days=round(float(days), 6),
        unknown_dwell=unknown,
        contacts=contacts,
        reached=reached,
        set_aside=waiting,
        fingerprint=store.fingerprint(),
        as_of=store.as_of().isoformat(),
        audience=audience,
        small_cell=small_cell,
    )


def latest_quarter(store: Store) -> str:
    """Return the last quarter with a placement.

    Raises
    ------
    NoDataError
        The store holds no episode.
    """
    ((last,),) = store.rows("select max(placed_quarter) from episode_dwell")
    if last is None:
        raise NoDataError("The store holds no episodes.", try_next="dwell load FOLDER")
    return str(last)
