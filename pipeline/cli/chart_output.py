"""Control charts as JSON, CSV and a table, and what their silence means in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.analysis.charts.detectability import Detectability
from pipeline.analysis.charts.results import ControlChart, Phase, Signal
from pipeline.cli.charting import Charted
from pipeline.words.chart import notes, reason, signal_sentence
from pipeline.words.silence import no_room_words, silence

if TYPE_CHECKING:
    import polars as pl

ROUNDED = 6


def number(value: float) -> float | None:
    """Return a figure for JSON, null where there is none."""
    return None if not np.isfinite(value) else round(float(value), ROUNDED)


def as_mapping(charted: Charted, found: Detectability) -> dict[str, Any]:
    """Return one chart with the keys that scripts rely on."""
    chart = charted.chart
    return {
        "measure": charted.measure.name,
        "group": charted.group,
        "label": charted.label,
        "chart": chart.kind,
        "reason": reason(chart, charted.measure.charts[0].value),
        "unit": chart.unit,
        "centre": number(chart.latest_centre),
        "phases": [phase_mapping(phase) for phase in chart.phases],
        "points": points(charted),
        "signals": [signal_mapping(chart, signal) for signal in chart.signals],
        "changes": [
            {"change_id": c.change_id, "started": c.started, "title": c.title,
             "new_phase": c.new_phase}
            for c in chart.changes
        ],
        "notes": notes(chart),
        "detectability": detectability_mapping(found),
    }  # fmt: skip


def phase_mapping(phase: Phase) -> dict[str, Any]:
    """Return one phase."""
    return {
        "phase": phase.number,
        "first": phase.first,
        "last": phase.last,
        "change": phase.change or None,
        "centre": number(phase.centre),
        "baseline_first": phase.baseline_first,
        "baseline_last": phase.baseline_last,
        "baseline_points": phase.baseline_points,
        "has_limits": phase.has_limits,
        "carried_forward": phase.carried_forward,
    }


def signal_mapping(chart: ControlChart, signal: Signal) -> dict[str, Any]:
    """Return one signal."""
    return {
        "kind": signal.kind,
        "direction": signal.direction,
        "first": signal.first,
        "last": signal.last,
        "points": [chart.periods[i] for i in signal.points],
        "sentence": signal_sentence(chart, signal),
        "p_value": float(f"{signal.p_value:.3g}"),
    }


def points(charted: Charted) -> list[dict[str, Any]]:
    """Return the points in time order."""
    chart, rows = charted.chart, []
    for i, period in enumerate(chart.periods):
        numerator, denominator = _counts(chart, i)
        rows.append(
            {
                "period": period,
                "numerator": numerator,
                "denominator": denominator,
                "value": number(chart.value[i]),
                "centre": number(chart.centre[i]),
                "lower": number(chart.lower[i]),
                "upper": number(chart.upper[i]),
                "signals": list(chart.signals_at(i)),
                "provisional": bool(chart.provisional[i]),
                "phase": int(chart.phase[i]),
            }
        )
    return rows


def _counts(chart: ControlChart, i: int) -> tuple[float | None, float | None]:
    """Return events and what they are counted against; one event a gap on g and t charts."""
    if chart.is_of_gaps:
        is_open = i == len(chart) - 1 and bool(chart.provisional[i])
        return (0 if is_open else 1), number(chart.numerator[i])
    return number(chart.numerator[i]), number(chart.denominator[i])


def detectability_mapping(found: Detectability) -> dict[str, Any]:
    """Return what a chart can and cannot see; null months are more than 50 years."""
    return {
        "points": found.points,
        "false_signal": number(found.false_signal),
        "expected_months": [
            {
                "ratio": delay.ratio,
                "months": number(delay.months),
                "within_year": number(delay.within_year),
                "method": delay.method,
                "standard_error": number(delay.standard_error),
            }
            for delay in found.delays
        ],
        "rules_not_judged": list(found.not_judged),
        "unknown": no_room_words(found.unknown) if found.unknown else None,
    }


def as_frame(charts: Sequence[Charted]) -> pl.DataFrame:
    """Return the points of all charts as rows, for CSV and for a table."""
    import polars as pl

    rows = [
        {"measure": charted.measure.name, "group": charted.group}
        | point
        | {"signals": ", ".join(point["signals"])}
        for charted in charts
        for point in points(charted)
    ]
    return pl.DataFrame(rows, infer_schema_length=None)


def sentences(charted: Charted, found: Detectability) -> list[str]:
    """Return what a chart says and what its silence means, a sentence a line."""
    chart = charted.chart
    signals = [signal_sentence(chart, s) for s in chart.signals] or ["No signal."]
    return [
        reason(chart, charted.measure.charts[0].value),
        *signals,
        *notes(chart),
        *silence(chart, found),
    ]
