"""A control chart small enough that all of them stand on one page, written as SVG directly.

Its title and verdict stand in the text around it, so that they keep their size on a telephone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.charts import ControlChart
from pipeline.figures.look import CENTRE, CHANGE, GRID, INK, LIMIT, POINT
from pipeline.figures.sparkline import Sparkline
from pipeline.words.chart import description

Floats = NDArray[np.float64]

_WIDTH, _HEIGHT, _MARGIN = 168.0, 62.0, 5.0
_CM = (4.2, 1.55)
RECENT = 3  # points within which a signal still stands


def chart_panel(chart: ControlChart, name: str) -> Sparkline:
    """Draw points, centre line, limits, changes and baseline; signals dark, past ones grey.

    Parameters
    ----------
    chart : ControlChart
        The chart, on a scale of its own.
    name : str
        What it is of, for the alternative text.
    """
    x, y = _scales(chart)
    recent = set(range(max(0, len(chart) - RECENT), len(chart)))
    now = [point for s in chart.signals if recent & set(s.points) for point in s.points]
    past = [point for s in chart.signals for point in s.points]
    parts = [
        _baseline(chart, x),
        *(_change(x[_place(chart, c.started)]) for c in chart.changes if len(chart)),
        *(_line(x, y(line), LIMIT, 0.8) for line in (chart.lower, chart.upper)),
        _line(x, y(chart.centre), CENTRE, 1.2),
        _line(x, y(chart.value), POINT, 1.2),
        _dots(x, y(chart.value), range(len(chart)), POINT, 1.3),
        _dots(x, y(chart.value), sorted(set(past) - set(now)), LIMIT, 2.2),
        _dots(x, y(chart.value), sorted(set(now)), INK, 2.6),
    ]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH:g}" height="{_HEIGHT:g}" '
        f'viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}">{"".join(parts)}</svg>\n'
    )
    return Sparkline(svg, description(chart, name), *_CM)


def _scales(chart: ControlChart) -> tuple[Floats, Callable[[Floats], Floats]]:
    """Return the place of each point along the picture, and what gives heights in it."""
    step = (_WIDTH - 2 * _MARGIN) / max(1, len(chart) - 1)
    known = np.concatenate([chart.value, chart.centre, chart.lower, chart.upper])
    known = known[np.isfinite(known)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    room = (_HEIGHT - 2 * _MARGIN) / (high - low or 1.0)

    def height(values: Floats) -> Floats:
        return _HEIGHT - _MARGIN - room * (values - low)

    return _MARGIN + step * np.arange(len(chart), dtype=float), height


def _place(chart: ControlChart, period: str) -> int:
    return min(sum(p < period for p in chart.periods), len(chart) - 1)


def _baseline(chart: ControlChart, x: Floats) -> str:
    """Shade the months that set the limits."""
    at = np.flatnonzero(chart.baseline)
    if not at.size:
        return ""
    left, right = x[at[0]] - 2, x[at[-1]] + 2
    return (
        f'<rect x="{left:.1f}" y="0" width="{right - left:.1f}" height="{_HEIGHT:g}" '
        f'fill="{GRID}"/>'
    )


def _change(x: float) -> str:
    line = f'<path d="M{x:.1f} 0V{_HEIGHT:g}" stroke="{CHANGE}"'
    return f'{line} stroke-width="1" stroke-dasharray="2 2"/>'


def _line(x: Floats, y: Floats, colour: str, width: float) -> str:
    """Draw a line, broken where nothing is known."""
    path, is_drawn = "", False
    for at, height in zip(x, y, strict=True):
        if np.isfinite(height):
            path += f"{'L' if is_drawn else 'M'}{at:.1f} {height:.1f}"
        is_drawn = bool(np.isfinite(height))
    return f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}"/>'


def _dots(x: Floats, y: Floats, points: Sequence[int], colour: str, radius: float) -> str:
    return "".join(
        f'<circle cx="{x[i]:.1f}" cy="{y[i]:.1f}" r="{radius:g}" fill="{colour}"/>'
        for i in points
        if np.isfinite(y[i])
    )
