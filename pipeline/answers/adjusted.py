"""A chart judged against what the case mix of each month's own children leads to expect."""

from __future__ import annotations

from dataclasses import replace

from pipeline.analysis.charts import ControlChart
from pipeline.analysis.charts.expected import MONTH, Fitted, fitted_risk
from pipeline.analysis.charts.follow import follow
from pipeline.analysis.comparison.pattern_counts import Cells
from pipeline.answers.chart_series import ChartSeries
from pipeline.errors import UsageError
from pipeline.measures.dimensions import case_mix_terms
from pipeline.measures.patterns import pattern_frames
from pipeline.measures.series import Where
from pipeline.settings import Settings
from pipeline.store import Store


def adjusted_chart(
    store: Store,
    part: ChartSeries,
    chart: ControlChart,
    *,
    where: Where | None,
    settings: Settings | None,
) -> tuple[ControlChart, tuple[str, ...]]:
    """Return a chart of months with its evidence given the case mix, and the terms allowed for.

    Raises
    ------
    UsageError
        No month of the baseline has a catheter.
    """
    fitted = _fitted(store, part, chart, where, settings)
    (cusum,) = follow(
        [part.counts], [part.changes], proportion=part.is_proportion, runs=[part.runs],
        by_month=fitted.rate, need=part.need,
    )  # fmt: skip
    read = tuple(s for s in chart.signals if s.kind not in {"watch", "call"})
    return replace(chart, signals=read).with_cusum(cusum), fitted.terms


def _fitted(
    store: Store,
    part: ChartSeries,
    chart: ControlChart,
    where: Where | None,
    settings: Settings | None,
) -> Fitted:
    terms = case_mix_terms(part.measure)
    factors = [MONTH, *terms]
    frames = pattern_frames(store, [part.measure], factors, where=where, settings=settings)
    cells = Cells.from_frame(frames.cells, factors)
    ((_, sums),) = frames.measures
    try:
        return fitted_risk(
            cells.counts(sums["cell"].to_numpy(), sums), chart.periods, chart.baseline,
            chart.limit_set, terms=terms, kind=part.measure.denominator_kind,
        )  # fmt: skip
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
