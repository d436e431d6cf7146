"""From the store to the series that control charts take: one rule of which chart is drawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import polars as pl

from pipeline.analysis.charts import Change, Counts
from pipeline.analysis.charts.cusum import RunLengths
from pipeline.analysis.charts.phases import Need
from pipeline.analysis.charts.results import GAPS
from pipeline.answers.chart_rules import need_of, run_lengths
from pipeline.answers.gap_counts import gap_counts
from pipeline.errors import UsageError
from pipeline.measures.catalogue import Measure
from pipeline.measures.counting import ALL
from pipeline.measures.dimensions import site_labels
from pipeline.measures.events import MOST_EVENTS, event_order
from pipeline.measures.log import LATEST, LoggedChange, logged_baselines, logged_changes
from pipeline.measures.series import Where, series
from pipeline.settings import Settings
from pipeline.store import Store

COUNTED = {"proportion": "p", "rate": "u"}
KINDS_OF = {"proportion": ("run", "p", "g"), "rate": ("run", "u", "t", "g")}
Key = tuple[str, str]  # a measure's name and a group
NO_COUNTS = Counts((), np.zeros(0), np.zeros(0))


@dataclass(frozen=True, eq=False)
class ChartSeries:
    """One measure's series in one group, and the chart that fits it.

    Attributes
    ----------
    measure : Measure
    group : str
        A level of what was grouped by; ``"all"`` for every episode together.
    kind : str
        The chart to draw.
    counts : Counts
        Its points.
    changes : tuple of Change
        Logged changes and decisions that concern it.
    monthly_volume, monthly_catheters : float
        Catheters (g) or what the rate counts against, and catheters, a month, over the
        last complete year.
    need : Need
        What its baseline must hold.
    runs : RunLengths
        Periods between false alarms that it is judged by.
    network : Counts or None
        Of a safety measure in a group: the whole network by month, whose rate is
        expected while the group has too few events for a baseline of its own.
    """

    measure: Measure
    group: str
    kind: str
    counts: Counts
    changes: tuple[Change, ...]
    monthly_volume: float
    monthly_catheters: float
    need: Need = field(default_factory=Need)
    runs: RunLengths = field(default_factory=RunLengths)
    network: Counts | None = None

    @property
    def is_proportion(self) -> bool:
        """Whether it counts catheters with an event among catheters."""
        return self.measure.denominator_kind == "proportion"


@dataclass(frozen=True, eq=False)
class _Asked:
    """What the series of one call share."""

    store: Store
    settings: Settings
    period: str
    by: str | None
    kind: str | None
    where: Where | None
    months: tuple[str, str] | None
    with_total: bool


def read_series(
    store: Store,
    measures: Sequence[Measure],
    *,
    period: str = "month",
    by: str | None = None,
    kind: str | None = None,
    where: Where | None = None,
    months: tuple[str, str] | None = None,
    with_total: bool = False,
    settings: Settings | None = None,
) -> list[ChartSeries]:
    """Read the series that charts of some measures take.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
    period : {"month", "quarter"}
    by : str, optional
        A dimension: a series for each of its levels.
    kind : str, optional
        A chart in place of the one that the rule gives; see `kind_of`.
    where, months, settings
        As for :func:`pipeline.measures.series.series`.
    with_total : bool
        With `by`: also the series of every episode together.

    Returns
    -------
    list of ChartSeries
        By measure in the order given, then by group.

    Raises
    ------
    UsageError
        A chart does not fit a measure, or a name is unknown.
    NoDataError
        No episode is left.
    """
    asked = _Asked(store, settings or Settings(), period, by, kind, where, months, with_total)
    names = (period,) if by is None else (period, by)
    frame = series(
        store, measures, names, where=where, months=months, with_total=with_total,
        settings=settings,
    )  # fmt: skip
    until = months[1] if months else LATEST
    log = sorted([*logged_changes(store, until), *logged_baselines(store, until)],
                 key=lambda entry: entry.started_month)  # fmt: skip
    found = frame.partition_by("measure", as_dict=True, maintain_order=True)
    parts = {m.name: by_group(found[m.name,], by) for m in measures if (m.name,) in found}
    kinds = {
        (measure.name, group): kind_of(measure, part, period, kind)
        for measure in measures
        for group, part in parts.get(measure.name, {}).items()
    }
    between = _gaps(asked, measures, kinds)
    return [
        one
        for measure in measures
        if measure.name in parts
        for one in _of_measure(
            asked, measure, parts[measure.name], kinds=kinds, between=between, log=log
        )
    ]


def by_group(frame: pl.DataFrame, by: str | None) -> dict[str, pl.DataFrame]:
    """Return the rows of each level; all of them, under ``"all"``, without a grouping."""
    if by is None:
        return {ALL: frame}
    return {str(part[by][0]): part for part in frame.partition_by(by, maintain_order=True)}


def _of_measure(
    asked: _Asked,
    measure: Measure,
    parts: Mapping[str, pl.DataFrame],
    *,
    kinds: Mapping[Key, str],
    between: Mapping[Key, Counts],
    log: Sequence[LoggedChange],
) -> Iterator[ChartSeries]:
    network, need = _network(asked, measure), need_of(asked.settings, asked.period)
    runs = {n: _runs(asked, measure, n) for n in (1, len(parts))}
    for group, part in parts.items():
        kind, months = kinds[measure.name, group], _period_counts(part, asked.period)
        catheters = _monthly(months, part["ascertained"].to_numpy(), asked.period)
        counts = months
        if kind in GAPS:
            counts = replace(between.get((measure.name, group), NO_COUNTS), months=months)
        yield ChartSeries(
            measure,
            group,
            kind,
            counts,
            _changes(asked, measure, group, log),
            catheters if kind == "g" else _monthly(months, months.denominator, asked.period),
            catheters,
            need,
            runs[1 if group == ALL else len(parts)],
            None if group == ALL and not asked.where else network,
        )


def _runs(asked: _Asked, measure: Measure, groups: int) -> RunLengths:
    """Return how seldom a chart may be wrong: of a group, among those of all groups."""
    sites = len(site_labels(asked.store)) if sites_asked(asked.where) else 1
    return run_lengths(measure, asked.settings, asked.period, groups * sites)


def _network(asked: _Asked, measure: Measure) -> Counts | None:
    """Return a safety measure's counts of the whole network, where groups are looked at."""
    if not measure.is_safety or not (asked.by or asked.where):
        return None
    frame = series(asked.store, [measure], (asked.period,), months=asked.months,
                   settings=asked.settings)  # fmt: skip
    return _period_counts(frame, asked.period)


def kind_of(measure: Measure, part: pl.DataFrame, period: str, kind: str | None = None) -> str:
    """Return the chart that is drawn of a measure.

    The one on its card. Counts in place of the gaps between events where a point is a
    quarter, and where there are more than `MOST_EVENTS` events a month.

    Parameters
    ----------
    measure : Measure
    part : polars.DataFrame
        Its rows of `series`, of one group.
    period : {"month", "quarter"}
    kind : str, optional
        The chart asked for.

    Raises
    ------
    UsageError
        The chart asked for does not fit what the measure counts.
    """
    fitting = KINDS_OF[measure.denominator_kind]
    if kind is not None and kind not in fitting:
        raise UsageError(
            f"A {kind} chart does not fit {measure.name}, a {measure.denominator_kind}.",
            try_next=f"--kind {', '.join(fitting)}",
        )
    card = kind or measure.charts[0].value
    if kind is not None or card not in GAPS:
        return card
    is_rare = period == "month" and part["with_event"].sum() <= MOST_EVENTS * len(part)
    return card if is_rare else COUNTED[measure.denominator_kind]


def _period_counts(part: pl.DataFrame, period: str) -> Counts:
    return Counts(
        tuple(part[period].to_list()),
        part["numerator"].to_numpy().astype(float),
        part["denominator"].to_numpy().astype(float),
        part["provisional"].to_numpy(),
    )


def _gaps(
    asked: _Asked, measures: Sequence[Measure], kinds: Mapping[Key, str]
) -> dict[Key, Counts]:
    """Return the gap before each event, by measure and group."""
    rare = {name: kind for (name, _), kind in kinds.items() if kind in GAPS}
    chosen = [measure for measure in measures if measure.name in rare]
    if not chosen:
        return {}
    events = event_order(
        asked.store, chosen, by=asked.by, with_total=asked.with_total, where=asked.where,
        months=asked.months, settings=asked.settings,
    )  # fmt: skip
    found = events.partition_by("measure", as_dict=True, maintain_order=True)
    return {
        (name, group): gap_counts(part, rare[name])
        for (name,), rows in found.items()
        for group, part in by_group(rows, asked.by).items()
        if kinds.get((name, group)) in GAPS
    }


def _changes(
    asked: _Asked, measure: Measure, group: str, log: Sequence[LoggedChange]
) -> tuple[Change, ...]:
    """Return the logged changes that concern a measure at the sites of a series."""
    sites = (group,) if asked.by == "site" and group != ALL else sites_asked(asked.where)
    return tuple(
        Change(entry.started(asked.period), entry.title, entry.new_phase, entry.change_id)
        for entry in log
        if entry.concerns(measure.name, sites)
    )


def sites_asked(where: Where | None) -> tuple[str, ...]:
    """Return the sites asked for; none where all are in it."""
    sites: Any = (where or {}).get("site")
    return () if sites is None else (sites,) if isinstance(sites, str) else tuple(sites)


def _monthly(counts: Counts, volume: np.ndarray, period: str) -> float:
    per_period = 3 if period == "quarter" else 1
    recent = volume[~counts.provisional][-12 // per_period :]
    return float(recent.mean()) / per_period if recent.size else 0.0
