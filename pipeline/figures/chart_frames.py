"""Control charts as small frames: where each point, step and label stands.

Time runs in months (or quarters) along x. Points of a rare-event chart, of
which a month may hold several or none, are spread within their month.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from textwrap import wrap

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.analysis.charts.results import ControlChart
from pipeline.words.numbers import figure, month

Floats = NDArray[np.float64]

POINT_COLUMNS = ("panel", "x", "y", "state", "label", "nudge", "label_y", "stretch")
LONGEST_LINE = 25
APART = 0.2
"""Share of the axis from which a run's first and last month are written apart."""
LOW = 0.15
"""Share of the highest point under which a label would run into the axis."""
CHARACTER, LINE = 0.006, 0.1
"""Half the width of a character, and the height of a line, as shares of the two axes."""
NEAR_ZERO = 0.01
"""Share of the upper limit under which a lower one would lie on the axis."""


@dataclass(frozen=True)
class Timeline:
    """Whole months or quarters from the first period shown."""

    start: int
    stop: int
    per_year: int

    @classmethod
    def over(cls, charts: Iterable[ControlChart]) -> Timeline:
        """Span every period of the charts."""
        shown = [chart.periods + (chart.cusum.periods if chart.cusum else ()) for chart in charts]
        periods = sorted({period for each in shown for period in each})
        if not periods:
            return cls(0, 0, 12)
        per_year = 4 if "Q" in periods[0] else 12
        return cls(place(periods[0]), place(periods[-1]), per_year)

    @property
    def length(self) -> int:
        """Periods from the first to the last, both counted."""
        return self.stop - self.start + 1

    def years(self) -> tuple[list[float], list[str]]:
        """Return the first period of each year, labelled by the year alone."""
        at = [i for i in range(self.start, self.stop + 1) if i % self.per_year == 0]
        at = at[:: ceil(len(at) / 5)] if at else [self.start]
        return [float(i - self.start) for i in at], [str(i // self.per_year) for i in at]

    def ticks(self) -> tuple[list[float], list[str]]:
        """Return where the axis is labelled, and how: months, and years under the first."""
        every = next(
            (step for step in (1, 2, 3, 6, 12, 24) if self.length / step <= 8), 60
        ) if self.per_year == 12 else (1 if self.length <= 8 else 4)  # fmt: skip
        at = [i for i in range(self.start, self.stop + 1) if i % every == 0] or [self.start]
        return [float(i - self.start) for i in at], [self._name(i, i == at[0]) for i in at]

    def _name(self, i: int, is_first: bool) -> str:
        year, part = divmod(i, self.per_year)
        name = f"Q{part + 1}" if self.per_year == 4 else month(f"{year}-{part + 1:02d}")[:3]
        return f"{name}\n{year}" if is_first or part == 0 else name


def place(period: str) -> int:
    """Return the number of a month, or of a quarter, from the year zero."""
    year, _, part = period.partition("-")
    return int(year) * 4 + int(part[1:]) - 1 if part.startswith("Q") else (
        int(year) * 12 + int(part) - 1
    )  # fmt: skip


def positions(periods: Sequence[str], timeline: Timeline) -> Floats:
    """Return x of each point: whole where a period holds one, spread where it holds more."""
    if not periods:
        return np.zeros(0)
    whole = np.array([place(period) - timeline.start for period in periods], dtype=float)
    _, first, count = np.unique(whole, return_index=True, return_counts=True)
    order = np.arange(whole.size) - np.repeat(first, count)
    return whole + (order + 0.5) / np.repeat(count, count) - 0.5


def point_frame(charts: Mapping[str, ControlChart], timeline: Timeline) -> pd.DataFrame:
    """Return every point that may be shown: its state, its label, the label's side and height.

    Points of one `stretch` follow each other without a gap and are joined by a line.
    """
    rows = []
    for panel, chart in charts.items():
        x, marks = positions(chart.periods, timeline), _marks(chart, timeline)
        highest = max(float(np.nanmax(chart.value, initial=0.0)), 1e-12)
        shown = np.flatnonzero(np.isfinite(chart.value))
        stretches = shown - np.arange(shown.size)
        for i, stretch in zip(shown.tolist(), stretches.tolist(), strict=True):
            y = float(chart.value[i])
            side = -1.0 if LOW * highest < y < chart.centre[i] else 1.0
            state, label = _state(chart, i, marks), marks.get(i, "")
            near = shown[np.abs(x[shown] - x[i]) <= CHARACTER * timeline.length * len(label)]
            level = _free(chart.value[near], y, side, LINE * highest) if label else y
            rows.append((panel, x[i], y, state, label, side, level, f"{panel} {stretch}"))
    return pd.DataFrame(rows, columns=list(POINT_COLUMNS))


def _free(others: Floats, y: float, side: float, height: float) -> float:
    """Return the nearest height, from a point upwards or downwards, with room for its label."""
    for other in np.sort(side * others):
        if side * y < other < side * y + height:
            y = float(side * other)
    return y


def _marks(chart: ControlChart, timeline: Timeline) -> dict[int, str]:
    """Return points that are drawn as signals, and what is written beside them.

    Evidence added up marks no point: it has a panel of its own. Of a long run the first
    and the last month are written, of a short one its span.
    """
    marks: dict[int, str] = {}
    for signal in chart.signals:
        if signal.kind in {"watch", "call"}:
            continue
        names = _names(chart, signal.points, timeline)
        for i in signal.points:
            marks[i] = names.get(i) or marks.get(i, "")
    return marks


def _names(chart: ControlChart, points: Sequence[int], timeline: Timeline) -> dict[int, str]:
    first, last = chart.periods[points[0]], chart.periods[points[-1]]
    if first == last:
        return {points[0]: month(first)}
    if place(last) - place(first) > APART * timeline.length:
        return {points[0]: month(first), points[-1]: month(last)}
    highest = max(points, key=lambda i: chart.value[i])
    return {highest: f"{month(first)} to {month(last)}"}


def _state(chart: ControlChart, i: int, marks: Mapping[int, str]) -> str:
    if chart.provisional[i]:
        return "provisional"
    return "signal" if i in marks else "in control"


def step_frame(charts: Mapping[str, ControlChart], timeline: Timeline, *lines: str) -> pd.DataFrame:
    """Return stepped lines (centre, lower or upper) as paths that break at gaps and phases.

    A level stretch has its two ends alone: each row more is drawn slower. A lower limit
    on the axis, or an upper one at the whole of a proportion, is left out: no point can be
    seen to lie beyond it.
    """
    rows = [
        (panel, f"{panel} {line} {piece}", x, y)
        for panel, chart in charts.items()
        for line in lines
        for piece, x, y in _corners(chart, _drawable(chart, line), timeline)
    ]
    return pd.DataFrame(rows, columns=["panel", "piece", "x", "y"])


def _corners(chart: ControlChart, y: Floats, timeline: Timeline) -> list[tuple[int, float, float]]:
    """Return the corners of one stepped line, with the number of its unbroken piece."""
    left, right = _edges(chart, timeline)
    corners: list[tuple[int, float, float]] = []
    piece = 0
    for i in range(len(y)):
        goes_on = i and chart.limit_set[i] == chart.limit_set[i - 1] and np.isfinite(y[i - 1])
        piece += not goes_on
        if goes_on and y[i] == y[i - 1]:
            corners[-1] = (piece, right[i], y[i])
        elif np.isfinite(y[i]):
            corners += [(piece, left[i], y[i]), (piece, right[i], y[i])]
    return corners


def _drawable(chart: ControlChart, line: str) -> Floats:
    y: Floats = np.array(getattr(chart, line))
    if line == "centre":
        there = np.flatnonzero(np.isfinite(chart.value))
        y[: there[0] if there.size else len(y)] = np.nan
        return y
    for owner in np.unique(chart.limit_set):
        mine = chart.limit_set == owner
        if _is_idle(chart, line, mine):
            y[mine] = np.nan
    return y


def _is_idle(chart: ControlChart, line: str, mine: NDArray[np.bool_]) -> bool:
    """Whether a limit lies, all along, where no point can be seen to pass it."""
    if line == "lower":
        least = NEAR_ZERO * float(np.nanmax(chart.upper, initial=0.0))
        return bool(np.nanmax(chart.lower[mine], initial=0.0) <= least)
    whole = chart.multiplier if chart.kind in {"p", "p'"} else np.inf
    return bool(np.nanmin(chart.upper[mine], initial=np.inf) >= whole)


def _edges(chart: ControlChart, timeline: Timeline) -> tuple[Floats, Floats]:
    """Return where each point's step begins and ends: half-way, or at the change of phase."""
    x = positions(chart.periods, timeline)
    between = (x[1:] + x[:-1]) / 2
    begins = [place(c.started) - timeline.start - 0.5 for c in chart.changes if c.new_phase]
    for i in np.flatnonzero(chart.limit_set[1:] != chart.limit_set[:-1]).tolist():
        inside = [start for start in begins if x[i] <= start <= x[i + 1]]
        between[i] = inside[-1] if inside else between[i]
    return np.concatenate([x[:1] - 0.5, between]), np.concatenate([between, x[-1:] + 0.5])


def baseline_frame(charts: Mapping[str, ControlChart], timeline: Timeline) -> pd.DataFrame:
    """Return where each complete baseline that judges a chart begins and ends."""
    rows = []
    for panel, chart in charts.items():
        x = positions(chart.periods, timeline)
        kept = {p.baseline_first: p.baseline_last for p in chart.phases if p.is_kept}
        for owner in np.unique(chart.limit_set[chart.baseline]).tolist():
            mine = np.flatnonzero(chart.baseline & (chart.limit_set == owner))
            if chart.periods[mine[0]] in kept:
                rows.append((panel, x[mine[0]] - 0.5, x[mine[-1]] + 0.5, "baseline"))
    return pd.DataFrame(rows, columns=["panel", "x", "xend", "label"])


def centre_labels(charts: Mapping[str, ControlChart], timeline: Timeline) -> pd.DataFrame:
    """Return the value of each centre line and where it ends."""
    rows = []
    for panel, chart in charts.items():
        _, right = _edges(chart, timeline)
        for owner in np.unique(chart.limit_set).tolist():
            mine = np.flatnonzero((chart.limit_set == owner) & np.isfinite(chart.centre))
            if mine.size:
                last, is_end = mine[-1], owner == chart.limit_set[-1]
                value = float(chart.centre[last])
                rows.append((panel, right[last], value, figure(value), is_end))
    return pd.DataFrame(rows, columns=["panel", "x", "y", "label", "is_end"])


def limit_labels(charts: Mapping[str, ControlChart], timeline: Timeline) -> pd.DataFrame:
    """Return where the limits in force end, so that they can be named there."""
    rows = []
    for panel, chart in charts.items():
        _, right = _edges(chart, timeline)
        for line in ("lower", "upper"):
            drawn = np.flatnonzero(np.isfinite(_drawable(chart, line)))
            if drawn.size and drawn[-1] >= len(chart) - 2:
                rows.append((panel, right[drawn[-1]], getattr(chart, line)[drawn[-1]], "limit"))
    return pd.DataFrame(rows, columns=["panel", "x", "y", "label"])


def change_frame(charts: Mapping[str, ControlChart], timeline: Timeline) -> pd.DataFrame:
    """Return logged changes once a panel and period, with their titles and a row for each label."""
    rows = []
    for panel, chart in charts.items():
        titles: dict[float, list[str]] = {}
        for change in chart.changes:
            titles.setdefault(place(change.started) - timeline.start - 0.5, []).append(change.title)
        for row, (x, names) in enumerate(sorted(titles.items())):
            rows.append((panel, x, shorten("; ".join(names)), row % 3))
    return pd.DataFrame(rows, columns=["panel", "x", "label", "row"])


def shorten(text: str) -> str:
    """Break a title into two lines at most, and cut what does not fit."""
    return "\n".join(wrap(text, LONGEST_LINE, max_lines=2, placeholder="…"))
