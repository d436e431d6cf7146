"""Charts drawn of series and judged from their kept baselines: one rule for all that show them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from pipeline.analysis.charts import ControlChart, Counts, control_charts
from pipeline.analysis.charts.follow import follow
from pipeline.analysis.charts.phases import plan_phases
from pipeline.analysis.charts.results import GAPS, MODELS
from pipeline.answers.chart_series import COUNTED, ChartSeries

GAP_UNITS = {"g": "catheters between events", "t": "catheter-days between events"}


def draw_charts(
    parts: Sequence[ChartSeries], *, until: str | None = None, forced: bool = False
) -> list[ControlChart]:
    """Draw a chart of each series, those alike in one pass.

    Parameters
    ----------
    parts : sequence of ChartSeries
    until : str, optional
        The last period looked at.
    forced : bool
        Draw the kind asked for, whatever the data look like.
    """
    drawn: dict[int, ControlChart] = {}
    alike: dict[tuple[str, str], list[int]] = {}
    for i, part in enumerate(parts):
        alike.setdefault((part.measure.name, part.kind), []).append(i)
    for (_, kind), places in alike.items():
        these = [parts[i] for i in places]
        if until is not None:
            these = [replace(one, counts=one.counts.until(until)) for one in these]
        drawn |= dict(zip(places, _drawn_alike(these, kind, forced=forced), strict=True))
    return [drawn[i] for i in range(len(parts))]


def _drawn_alike(parts: Sequence[ChartSeries], kind: str, *, forced: bool) -> list[ControlChart]:
    """Draw one measure's charts of one kind, and follow each from its baseline."""
    first, rare = parts[0], kind in GAPS
    changes = [part.changes for part in parts]
    charts = control_charts(
        [part.counts for part in parts],
        kind=kind,
        changes=changes,
        multiplier=1.0 if rare else first.measure.multiplier,
        unit=GAP_UNITS[kind] if rare else first.measure.unit,
        forced=forced,
        model=None if rare else MODELS[COUNTED[first.measure.denominator_kind]],
        need=first.need,
    )
    followed = follow(
        [_as_plain(part, chart) for part, chart in zip(parts, charts, strict=True)],
        changes,
        proportion=first.is_proportion,
        runs=[part.runs for part in parts],
        expected=[_expected(part) for part in parts],
        need=first.need,
    )
    return [chart.with_cusum(cusum) for chart, cusum in zip(charts, followed, strict=True)]


def _as_plain(part: ChartSeries, chart: ControlChart) -> Counts:
    """Return the months to add up; over-dispersed ones as the fewer that vary as much.

    Counts that vary by a factor more than chance alone say as much as so many times fewer.
    """
    months = part.counts.months or part.counts
    if chart.choice.why != "overdispersed":
        return months
    times = chart.choice.sigma_z**2
    return replace(
        months, numerator=months.numerator / times, denominator=months.denominator / times
    )


def _expected(part: ChartSeries) -> float | None:
    """Return the network's rate where a group's own baseline is not complete."""
    if part.network is None:
        return None
    options: dict[str, Any] = {"need": part.need, "proportion": part.is_proportion}
    own = part.counts.months or part.counts
    if all(plan_phases(own, part.changes, **options).is_kept.values()):
        return None
    held = part.network.complete & plan_phases(part.network, **options).baseline
    volume = part.network.denominator[held].sum()
    return float(max(part.network.numerator[held].sum(), 0.5) / volume) if volume else None
