"""The figures of an answer on removal, by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from pipeline.answers.removal import RemovalResult
from pipeline.figures.forest import by_day_figure, forest_figure
from pipeline.figures.hazard import clock_figure, hazard_figure
from pipeline.figures.incidence import incidence_figure
from pipeline.figures.look import Drawing
from pipeline.figures.planned_end import planned_end_figure
from pipeline.figures.pump import pump_figure
from pipeline.figures.time_in_place import time_in_place_figure


def removal_figure(result: RemovalResult, name: str) -> Drawing:
    """Draw a figure; `name` is one that the result has."""
    return _DRAWN[name](result)


def _reasons(result: RemovalResult) -> Drawing:
    shares = [replace(group.reasons, group=group.label) for group in result.groups]
    return incidence_figure(shares, until_h=result.until_h)


def _time_in_place(result: RemovalResult) -> Drawing:
    curves = [replace(group.time, group=group.label) for group in result.groups]
    return time_in_place_figure(curves, until_h=result.until_h, check=result.check)


def _forest(result: RemovalResult) -> Drawing:
    assert result.model is not None
    return forest_figure(result.model)


def _by_day(result: RemovalResult) -> Drawing:
    assert result.model is not None
    assert result.model.check is not None
    assert result.model.fit is not None
    return by_day_figure(result.model.check, result.model.fit)


def _hazard(result: RemovalResult) -> Drawing:
    assert result.hazard is not None
    curves = result.hazard.curves
    return hazard_figure([replace(curve, group=result.label(curve.group)) for curve in curves])


def _clock(result: RemovalResult) -> Drawing:
    assert result.hazard is not None
    assert result.hazard.clock is not None
    return clock_figure(result.hazard.clock)


def _planned_end(result: RemovalResult) -> Drawing:
    assert result.planned_end is not None
    return planned_end_figure(result.planned_end)


def _pump(result: RemovalResult) -> Drawing:
    assert result.pump is not None
    rows = (*result.pump.rows, result.pump.all_rates)
    return pump_figure([row for row in rows if row.catheters])


_DRAWN: dict[str, Callable[[RemovalResult], Drawing]] = {
    "reasons": _reasons,
    "time-in-place": _time_in_place,
    "forest": _forest,
    "ratios-by-day": _by_day,
    "hazard": _hazard,
    "clock-hour": _clock,
    "planned-end": _planned_end,
    "pump": _pump,
}
