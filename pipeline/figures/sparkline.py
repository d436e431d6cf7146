"""A rate over the last quarters as a line small enough for a table's cell.

Two dozen of them stand in one table, so they are written as SVG directly: a line
and a dot need no axes, and a plotting library takes a third of a second for each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.figures.look import INK, POINT, SPARK_CM
from pipeline.outputs import written_beside
from pipeline.words.numbers import figure

_WIDTH, _HEIGHT = 112.0, 28.0
_MARGIN = 4.0
_DOT = 2.4


@dataclass(frozen=True, slots=True)
class Sparkline:
    """A small line, with the words for those who cannot see it."""

    svg: str
    alt: str
    width_cm: float = SPARK_CM[0]
    height_cm: float = SPARK_CM[1]

    def save(self, path: Path) -> Path:
        """Write the line as an SVG file.

        Raises
        ------
        RenderError
            If the file cannot be written.
        """
        with written_beside(path) as part:
            part.write_text(self.svg, encoding="utf-8")
        return path


def sparkline(periods: Sequence[str], values: Sequence[float], unit: str) -> Sparkline:
    """Draw a small line whose last point, where it is known, is marked.

    Parameters
    ----------
    periods : sequence of str
        Labels, in time order.
    values : sequence of float
        Rates in `unit`; NaN leaves a gap.
    unit : str
        Their unit, for the alternative text.
    """
    places = _places(values)
    lines = "".join(f'<path d="{_path(run)}"/>' for run in _unbroken(places) if len(run) > 1)
    lonely = [run[0] for run in _unbroken(places) if len(run) == 1]
    dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.3" fill="{POINT}"/>' for x, y in lonely)
    if places and places[-1] is not None:
        x, y = places[-1]
        dots += f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_DOT}" fill="{INK}"/>'
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH:g}" height="{_HEIGHT:g}" '
        f'viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}">'
        f'<g fill="none" stroke="{POINT}" stroke-width="1.6" stroke-linejoin="round">{lines}</g>'
        f"{dots}</svg>\n"
    )
    return Sparkline(svg, _alt(periods, values, unit))


def _places(values: Sequence[float]) -> list[tuple[float, float] | None]:
    """Where each value lies in the picture; None where there is none."""
    known = [value for value in values if math.isfinite(value)]
    low, high = (min(known), max(known)) if known else (0.0, 0.0)
    step = (_WIDTH - 2 * _MARGIN) / max(1, len(values) - 1)
    room = _HEIGHT - 2 * _MARGIN

    def height(value: float) -> float:
        return _HEIGHT / 2 if high == low else _MARGIN + room * (high - value) / (high - low)

    return [
        (_MARGIN + i * step, height(value)) if math.isfinite(value) else None
        for i, value in enumerate(values)
    ]


def _unbroken(places: Sequence[tuple[float, float] | None]) -> list[list[tuple[float, float]]]:
    runs: list[list[tuple[float, float]]] = [[]]
    for place in places:
        if place is None:
            runs.append([])
        else:
            runs[-1].append(place)
    return [run for run in runs if run]


def _path(run: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in run)


def _alt(periods: Sequence[str], values: Sequence[float], unit: str) -> str:
    said = [
        f"{period} {figure(value)}" if math.isfinite(value) else f"{period} not shown"
        for period, value in zip(periods, values, strict=True)
    ]
    return f"{', '.join(said)}; {unit}" if said else "no quarters"
