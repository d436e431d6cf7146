"""From the store to control charts: what `dwell chart`, `signals` and `plan` share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.analysis.charts import DEFAULT_RULES, Change, ControlChart, Counts, control_chart
from pipeline.analysis.charts.point_models import MODELS
from pipeline.cli.chart_counts import gap_counts, period_counts, planned, usage_error, withhold
from pipeline.errors import UsageError
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import DIMENSIONS, site_labels
from pipeline.measures.events import event_order
from pipeline.measures.log import LoggedChange, logged_changes
from pipeline.measures.series import Where, series
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words.chart import BETWEEN, GAPS

if TYPE_CHECKING:
    import polars as pl

    from pipeline.disclosure import Policy

OVERALL = "all"
KINDS_OF = {
    "proportion": ("run", "p", "laney", "individuals", "g"),
    "rate": ("run", "u", "laney", "c", "individuals", "ewma", "t", "g"),
}
LANEY = {"proportion": "p'", "rate": "u'"}


@dataclass(frozen=True)
class Asked:
    """What was asked of a chart.

    Attributes
    ----------
    kind : str or None
        A chart in place of the card's.
    rules : tuple of str
    baseline : tuple of str or None
        First and last period of a baseline chosen by hand.
    period : {"month", "quarter"}
    group : str or None
        A dimension with a chart for each of its values.
    where : mapping
        Values of dimensions to keep.
    """

    kind: str | None = None
    rules: tuple[str, ...] = DEFAULT_RULES
    baseline: tuple[str, str] | None = None
    period: str = "month"
    group: str | None = None
    where: Where | None = None


@dataclass(frozen=True, eq=False)
class Charted:
    """One chart of a measure, whose it is, and the monthly volume behind it.

    `sites` are the labels of the sites asked for; none where all are in it.
    """

    measure: Measure
    group: str
    label: str
    chart: ControlChart
    monthly_volume: float
    sites: tuple[str, ...] = ()


def charts_of(
    store: Store,
    measure: Measure,
    asked: Asked,
    *,
    settings: Settings,
    policy: Policy,
    months: tuple[str, str] | None = None,
) -> list[Charted]:
    """Make the charts of one measure, one for each group asked for.

    Raises
    ------
    UsageError
        The chart does not fit the measure, or the baseline lies outside the data.
    NoDataError
        No episode is left.
    """
    by = (asked.period,) if asked.group is None else (asked.period, asked.group)
    frame = series(store, measure, by, where=asked.where, months=months, settings=settings)
    maker = _Maker(store, measure, asked, settings, policy, months)
    labels = site_labels(store)
    sites = tuple(labels.get(s, s) for s in _as_codes((asked.where or {}).get("site")))
    log = logged_changes(store)
    found = []
    for part in _groups(frame, asked.group):
        group = OVERALL if asked.group is None else str(part[asked.group][0])
        chart = maker.chart(part, maker.where(group), log)
        volume = monthly_volume(part, maker.kind, asked)
        label = labels.get(group, group) if asked.group == "site" else group
        found.append(Charted(measure, group, label, chart, volume, sites))
    return found


@dataclass(frozen=True, eq=False)
class _Maker:
    """Makes the chart of one group of a measure."""

    store: Store
    measure: Measure
    asked: Asked
    settings: Settings
    policy: Policy
    months: tuple[str, str] | None

    @property
    def kind(self) -> str:
        return chart_kind(self.measure, self.asked)

    def where(self, group: str) -> Where:
        """Narrow what was asked down to one group."""
        found = dict(self.asked.where or {})
        if self.asked.group is not None:
            found[self.asked.group] = DIMENSIONS[self.asked.group].value(group)
        return found

    def chart(self, part: pl.DataFrame, where: Where, log: Sequence[LoggedChange]) -> ControlChart:
        """Return the chart of one group as it may be shown."""
        sites = _as_codes(where.get("site"))
        changes = concerning(log, self.measure, sites=sites, period=self.asked.period)
        if self.kind in GAPS and self.policy.is_small(part["with_event"].to_numpy().sum()).any():
            none = Counts((), np.zeros(0), np.zeros(0))
            plain = replace(self.asked, baseline=None)
            chart = make_chart(self.measure, none, self.kind, plain, changes)
            return replace(chart, reason=f"Withheld: fewer than {self.policy.threshold} events.")
        counts = self.counts(part, where, changes)
        return make_chart(self.measure, counts, self.kind, self.asked, changes)

    def counts(self, part: pl.DataFrame, where: Where, changes: Sequence[Change]) -> Counts:
        """Return the counts of one group, with what is withheld marked."""
        if self.kind in GAPS:
            events = event_order(
                self.store, self.measure, where=where, months=self.months, settings=self.settings
            )
            return gap_counts(events, self.kind)
        counts = period_counts(part, self.asked.period, self.measure, self.kind)
        plan = planned(counts, changes, self.asked.baseline)
        counts = withhold(counts, part, self.measure, plan, policy=self.policy)
        if self.kind == "ewma" and counts.suppressed.any():  # one value would give the next away
            return replace(counts, suppressed=np.ones(len(counts.periods), bool))
        return counts


def chart_kind(measure: Measure, asked: Asked) -> str:
    """Return the chart to draw: the card's first, or the one asked for.

    Raises
    ------
    UsageError
        The chart asked for does not fit what the measure counts.
    """
    if asked.kind is None:
        card = measure.charts[0].value
        return _counted(measure) if card in GAPS and asked.period == "quarter" else card
    fitting = KINDS_OF[measure.denominator_kind]
    if asked.kind not in fitting:
        raise UsageError(
            f"A {asked.kind} chart does not fit {measure.name}, a {measure.denominator_kind}.",
            try_next=f"--kind {', '.join(fitting)}",
        )
    return LANEY[measure.denominator_kind] if asked.kind == "laney" else asked.kind


def _counted(measure: Measure) -> str:
    return "p" if measure.denominator_kind == "proportion" else "u"


def make_chart(
    measure: Measure, counts: Counts, kind: str, asked: Asked, changes: Sequence[Change]
) -> ControlChart:
    """Return one chart; a baseline outside the data is the user's to correct."""
    rare = kind in GAPS
    try:
        chart = control_chart(
            counts,
            kind=kind,
            changes=changes,
            rules=asked.rules,
            multiplier=1.0 if rare or kind in {"individuals", "c"} else measure.multiplier,
            unit=BETWEEN.get(kind, "events" if kind == "c" else measure.unit),
            baseline=asked.baseline,
            forced=asked.kind is not None,
            model=None if rare else MODELS[_counted(measure)],
        )
    except ValueError as error:
        raise usage_error(error, counts) from None
    return _within_bounds(chart, measure) if kind == "individuals" else chart


def _within_bounds(chart: ControlChart, measure: Measure) -> ControlChart:
    """Keep the limits of plotted rates where rates can be: from zero, and to the whole."""
    whole = measure.multiplier if measure.denominator_kind == "proportion" else np.inf
    return replace(chart, lower=np.maximum(chart.lower, 0.0), upper=np.minimum(chart.upper, whole))


def monthly_volume(part: pl.DataFrame, kind: str, asked: Asked) -> float:
    """Return catheters (g) or what the rate counts against, a month, over the last year."""
    column = "ascertained" if kind == "g" else "denominator"
    final = part.filter(~part["provisional"])[column].to_numpy().astype(float)
    per_period = 3 if asked.period == "quarter" else 1
    recent = final[-12 // per_period :]
    return float(recent.mean()) / per_period if recent.size else 0.0


def concerning(
    log: Sequence[LoggedChange],
    measure: Measure,
    *,
    sites: Sequence[str] = (),
    period: str = "month",
) -> tuple[Change, ...]:
    """Return the changes that a chart of a measure marks, at these sites or without any, at all."""
    return tuple(
        Change(entry.started(period), entry.title, entry.new_phase, entry.change_id)
        for entry in log
        if entry.concerns(measure.name, sites)
    )


def _as_codes(value: Any) -> tuple[str, ...]:
    if value is None:
        return ()
    return (value,) if isinstance(value, str) else tuple(value)


def _groups(frame: pl.DataFrame, group: str | None) -> list[pl.DataFrame]:
    return [frame] if group is None else frame.partition_by(group, maintain_order=True)
