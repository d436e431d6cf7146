"""From the store to control charts: what `dwell chart`, `signals` and `plan` share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.analysis.charts import Change, ControlChart, Counts, control_chart
from pipeline.analysis.charts.point_models import MODELS
from pipeline.analysis.charts.results import GAPS
from pipeline.cli.chart_counts import gap_counts, period_counts
from pipeline.errors import UsageError
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import DIMENSIONS, site_labels
from pipeline.measures.events import event_order
from pipeline.measures.log import LoggedChange, logged_changes
from pipeline.measures.series import Where, series
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words.chart import BETWEEN

if TYPE_CHECKING:
    import polars as pl

OVERALL = "all"
KINDS_OF = {
    "proportion": ("run", "p", "g"),
    "rate": ("run", "u", "t", "g"),
}


@dataclass(frozen=True)
class Asked:
    """What was asked of a chart.

    Attributes
    ----------
    kind : str or None
        A chart in place of the card's.
    period : {"month", "quarter"}
    group : str or None
        A dimension with a chart for each of its values.
    where : mapping
        Values of dimensions to keep.
    """

    kind: str | None = None
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
    months: tuple[str, str] | None = None,
) -> list[Charted]:
    """Make the charts of one measure, one for each group asked for.

    Raises
    ------
    UsageError
        The chart does not fit the measure.
    NoDataError
        No episode is left.
    """
    by = (asked.period,) if asked.group is None else (asked.period, asked.group)
    frame = series(store, measure, by, where=asked.where, months=months, settings=settings)
    maker = _Maker(store, measure, asked, settings, months)
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
        """Return the chart of one group."""
        sites = _as_codes(where.get("site"))
        changes = concerning(log, self.measure, sites=sites, period=self.asked.period)
        counts = self.counts(part, where)
        return make_chart(self.measure, counts, self.kind, self.asked, changes)

    def counts(self, part: pl.DataFrame, where: Where) -> Counts:
        """Return the counts of one group."""
        if self.kind in GAPS:
            events = event_order(
                self.store, self.measure, where=where, months=self.months, settings=self.settings
            )
            return gap_counts(events, self.kind)
        return period_counts(part, self.asked.period)


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
    return asked.kind


def _counted(measure: Measure) -> str:
    return "p" if measure.denominator_kind == "proportion" else "u"


def make_chart(
    measure: Measure, counts: Counts, kind: str, asked: Asked, changes: Sequence[Change]
) -> ControlChart:
    """Return one chart."""
    rare = kind in GAPS
    return control_chart(
        counts,
        kind=kind,
        changes=changes,
        multiplier=1.0 if rare else measure.multiplier,
        unit=BETWEEN.get(kind, measure.unit),
        forced=asked.kind is not None,
        model=None if rare else MODELS[_counted(measure)],
    )


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
