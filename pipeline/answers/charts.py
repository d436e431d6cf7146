"""Control charts of measures: of the network, of sites, or of any group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.analysis.charts import ControlChart
from pipeline.analysis.charts.sight import Sight, sight
from pipeline.answers.adjusted import adjusted_chart
from pipeline.answers.chart_json import POINT_SCHEMA, chart_json, chart_points
from pipeline.answers.chart_series import COUNTED, KINDS_OF, read_series, sites_asked
from pipeline.answers.drawn_charts import draw_charts
from pipeline.measures.catalogue import Measure
from pipeline.measures.counting import ALL
from pipeline.measures.dimensions import check_sites, group_labels, site_labels
from pipeline.measures.series import Where
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    from pipeline.figures.look import Drawing


@dataclass(frozen=True, eq=False)
class MeasureChart:
    """One chart of a measure, and whose it is.

    Attributes
    ----------
    measure : Measure
    group, label : str
        A level of what was grouped by, as recorded and as printed; ``"all"`` for every
        episode together.
    chart : ControlChart
    monthly_volume, monthly_catheters : float
        Catheters (g) or what the rate counts against, and catheters, a month, over the
        last complete year.
    months_per_point : float
        One, or three where a point is a quarter.
    terms : tuple of str
        The case mix that its evidence allows for; none where the baseline's rate is expected.
    """

    measure: Measure
    group: str
    label: str
    chart: ControlChart
    monthly_volume: float
    monthly_catheters: float
    months_per_point: float = 1.0
    terms: tuple[str, ...] = ()

    @property
    def subject(self) -> str:
        """The measure's title, and whose chart it is where it is not everybody's."""
        whose = "" if self.group == ALL else f", {self.label}"
        return f"{self.measure.title}{whose}"

    @property
    def card(self) -> str:
        """The kind of chart that the measure's card names."""
        return self.measure.charts[0].value

    @cached_property
    def sight(self) -> Sight:
        """What the chart can and cannot see."""
        assert self.chart.cusum is not None
        return sight(self.chart.cusum, months_per_point=self.months_per_point)


@dataclass(frozen=True, eq=False)
class MeasureCharts:
    """Charts of some measures.

    Attributes
    ----------
    charts : tuple of MeasureChart
        By measure, then by group.
    sites : tuple of str
        Labels of the sites asked for; none where all are in it.
    """

    charts: tuple[MeasureChart, ...]
    sites: tuple[str, ...] = ()

    def frame(self) -> pl.DataFrame:
        """Return the points as rows.

        `measure` and `group`; `period`; `numerator` and `denominator` (of charts of gaps
        one event, or none while the wait runs, and the gap itself); `value`, `centre`,
        `lower` and `upper` in the measure's unit; the `signals` that name the point;
        `provisional`; `phase`.
        """
        rows = [
            {"measure": one.measure.name, "group": one.group}
            | point
            | {"signals": ", ".join(point["signals"])}
            for one in self.charts
            for point in chart_points(one.chart)
        ]
        return pl.DataFrame(rows, schema={"measure": pl.String, "group": pl.String, **POINT_SCHEMA})

    def figure(self) -> Drawing:
        """Return one chart large, or several as small multiples."""
        from pipeline.figures.control_chart import control_chart_figure, small_multiples
        from pipeline.figures.look import standalone

        charts = self.charts
        if len(charts) == 1:
            return standalone(control_chart_figure(charts[0].chart, charts[0].subject))
        if len({one.measure.name for one in charts}) == 1:
            panels = {one.label: one.chart for one in charts}
            return standalone(small_multiples(panels, charts[0].measure.title))
        panels = {one.measure.title: one.chart for one in charts}
        if len(panels) < len(charts):
            panels = {one.subject: one.chart for one in charts}
        whose = ", ".join(self.sites) or "All sites"
        return standalone(small_multiples(panels, whose, common_axes=False))

    def as_json(self) -> Any:
        """Return a mapping of one chart, a list of several."""
        found = [chart_json(one) for one in self.charts]
        return found[0] if len(found) == 1 else found


def measure_charts(
    store: Store,
    measures: Sequence[Measure],
    *,
    period: str = "month",
    by: str | None = None,
    kind: str | None = None,
    adjust: bool = False,
    where: Where | None = None,
    settings: Settings | None = None,
) -> MeasureCharts:
    """Chart some measures.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
    period : {"month", "quarter"}
        What a point is.
    by : str, optional
        A dimension: a chart for each of its levels.
    kind : {"run", "p", "u", "g", "t"}, optional
        A chart in place of the measure's own; of several measures, those that it fits.
    adjust : bool
        Of one measure by month: judge against what the case mix of each month's own
        children leads to expect. It is counted by month then.
    where : mapping, optional
        As for :func:`pipeline.measures.series.series`.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    UsageError
        The chart does not fit the measure, or a name is unknown.
    NoDataError
        No episode is left, or a site is unknown.
    """
    codes = sites_asked(where)
    check_sites(store, codes)
    if kind is not None and len(measures) > 1:
        measures = [m for m in measures if kind in KINDS_OF[m.denominator_kind]]
    if adjust:
        kind = COUNTED[measures[0].denominator_kind]
    parts = read_series(
        store, measures, period=period, by=by, kind=kind, where=where, settings=settings
    )
    drawn = draw_charts(parts, forced=kind is not None)
    terms: tuple[str, ...] = ()
    if adjust:
        drawn[0], terms = adjusted_chart(store, parts[0], drawn[0], where=where, settings=settings)
    labels, sites = group_labels(store, by), site_labels(store)
    months = 3.0 if period == "quarter" else 1.0
    charts = (
        MeasureChart(
            part.measure, part.group, labels.get(part.group, part.group), chart,
            part.monthly_volume, part.monthly_catheters, months, terms,
        )
        for part, chart in zip(parts, drawn, strict=True)
    )  # fmt: skip
    return MeasureCharts(tuple(charts), tuple(sites[code] for code in codes))
