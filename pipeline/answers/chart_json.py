"""A control chart as a mapping, with the keys that scripts rely on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.analysis.charts import ControlChart, Phase, Signal
from pipeline.analysis.charts.sight import Sight

if TYPE_CHECKING:
    from pipeline.answers.charts import MeasureChart

LINES = ("value", "centre", "lower", "upper")
POINT_SCHEMA: dict[str, type[pl.DataType]] = {
    "period": pl.String, "numerator": pl.Float64, "denominator": pl.Float64,
    **dict.fromkeys(LINES, pl.Float64),
    "signals": pl.String, "provisional": pl.Boolean, "phase": pl.Int64,
}  # fmt: skip


def chart_json(charted: MeasureChart) -> dict[str, Any]:
    """Return one chart, its points, signals, and what it can see."""
    from pipeline.words.chart import notes, reason
    from pipeline.words.numbers import json_number

    chart = charted.chart
    return {
        "measure": charted.measure.name,
        "group": charted.group,
        "label": charted.label,
        "chart": chart.kind,
        "reason": reason(chart, charted.card),
        "unit": chart.unit,
        "centre": json_number(chart.latest_centre),
        "phases": [_phase(phase) for phase in chart.phases],
        "points": chart_points(chart),
        "evidence": _evidence(chart),
        "setting_its_baseline": chart.is_setting_baseline,
        "signals": [_signal(chart, signal) for signal in chart.signals],
        "changes": [
            {"change_id": c.change_id, "started": c.started, "title": c.title,
             "new_phase": c.new_phase}
            for c in chart.changes
        ],
        "notes": notes(chart),
        "detectability": _sight(charted.sight),
    }  # fmt: skip


def _phase(phase: Phase) -> dict[str, Any]:
    from pipeline.words.numbers import json_number

    return {
        "phase": phase.number,
        "first": phase.first,
        "last": phase.last,
        "change": phase.change or None,
        "centre": json_number(phase.centre),
        "baseline_first": phase.baseline_first,
        "baseline_last": phase.baseline_last,
        "baseline_points": phase.baseline_points,
        "has_limits": phase.has_limits,
        "carried_forward": phase.carried_forward,
        "baseline_complete": phase.is_kept,
    }


def _signal(chart: ControlChart, signal: Signal) -> dict[str, Any]:
    from pipeline.words.chart import signal_sentence

    return {
        "kind": signal.kind,
        "direction": signal.direction,
        "first": signal.first,
        "last": signal.last,
        "points": [chart.periods[i] for i in signal.points],
        "sentence": signal_sentence(chart, signal),
    }


def chart_points(chart: ControlChart) -> list[dict[str, Any]]:
    """Return the points of a chart in time order."""
    from pipeline.words.numbers import json_number

    rows = []
    for i, period in enumerate(chart.periods):
        numerator, denominator = _counts(chart, i)
        rows.append(
            {"period": period, "numerator": numerator, "denominator": denominator}
            | {line: json_number(getattr(chart, line)[i]) for line in LINES}
            | {
                "signals": list(chart.signals_at(i)),
                "provisional": bool(chart.provisional[i]),
                "phase": int(chart.phase[i]),
            }
        )
    return rows


def _counts(chart: ControlChart, i: int) -> tuple[float | None, float | None]:
    """Return events and what they are counted against; one event a gap on g and t charts."""
    from pipeline.words.numbers import json_number

    if chart.is_of_gaps:
        is_open = chart.ends_open and i == len(chart) - 1
        return (0 if is_open else 1), json_number(chart.numerator[i])
    return json_number(chart.numerator[i]), json_number(chart.denominator[i])


def _sight(found: Sight) -> dict[str, Any]:
    """Return what a chart can and cannot see; null months are never."""
    from pipeline.words.numbers import json_number

    return {
        "false_watch_in_a_year": json_number(found.false_watch),
        "false_call_in_a_year": json_number(found.false_call),
        "expected_months": [
            {
                "ratio": delay.ratio,
                "watch": json_number(delay.watch),
                "call": json_number(delay.call),
                "watch_within_year": json_number(delay.within_year),
            }
            for delay in found.delays
        ],
    }


def _evidence(chart: ControlChart) -> list[dict[str, Any]]:
    """Return the evidence of a doubling and of a halving, by month."""
    from pipeline.words.numbers import json_number

    cusum = chart.cusum
    if cusum is None:
        return []
    return [
        {"period": period}
        | {
            f"{way}{part}": json_number(getattr(side, name)[i])
            for way, side in (("doubling", cusum.up), ("halving", cusum.down))
            for part, name in (("", "path"), ("_limit", "limit"))
        }
        for i, period in enumerate(cusum.periods)
    ]
