"""Control charts as small frames: where each point, step and label stands.

Time runs in months (or quarters) along x. Points of a rare-event chart, of
which a month may hold several or none, are spread within their month.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.analysis.charts.results import ControlChart, spoken
from pipeline.analysis.charts.words import figure

Floats = NDArray[np.float64]

POINT_COLUMNS = ("panel", "x", "y", "state", "label", "nudge")
LONGEST_LABEL = 30
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
        periods = sorted({period for chart in charts for period in chart.periods})
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
        name = f"Q{part + 1}" if self.per_year == 4 else spoken(f"{year}-{part + 1:02d}")[:3]
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
    """Return every point that may be shown, with its state and its label."""
    rows = []
    for panel, chart in charts.items():
        x, marks = positions(chart.periods, timeline), _marks(chart)
        for i in np.flatnonzero(np.isfinite(chart.value) & ~chart.suppressed).tolist():
            state, label = _state(chart, i, marks), _label(chart, i, marks)
            rows.append((panel, x[i], chart.value[i], state, *label))
    return pd.DataFrame(rows, columns=list(POINT_COLUMNS))


def _marks(chart: ControlChart) -> dict[int, bool]:
    """Return points that are drawn as signals, and whether their month is written.

    Few crossings are a property of the whole series and mark no point; of a run
    the first and the last month are written.
    """
    marks: dict[int, bool] = {}
    for signal in chart.signals:
        if signal.kind == "few_crossings":
            continue
        for i in signal.points:
            ends = i in {signal.points[0], signal.points[-1]}
            marks[i] = marks.get(i, False) or ends
    return marks


def _state(chart: ControlChart, i: int, marks: Mapping[int, bool]) -> str:
    if chart.provisional[i]:
        return "provisional"
    return "signal" if i in marks else "in control"


def _label(chart: ControlChart, i: int, marks: Mapping[int, bool]) -> tuple[str, float]:
    """Return the month to write and on which side of the point."""
    side = 1.0 if not chart.value[i] < chart.centre[i] else -1.0
    return (spoken(chart.periods[i]) if marks.get(i) else ""), side


def step_frame(charts: Mapping[str, ControlChart], timeline: Timeline, line: str) -> pd.DataFrame:
    """Return a stepped line (centre, lower or upper) as paths that break at gaps and phases.

    A lower limit on the axis, or an upper one at the whole of a proportion, is left
    out: no point can be seen to lie beyond it.
    """
    rows: list[tuple[str, str, float, float]] = []
    for panel, chart in charts.items():
        y = _drawable(chart, line)
        left, right = _edges(chart, timeline)
        piece = 0
        for i in range(len(y)):
            if i and (chart.limit_set[i] != chart.limit_set[i - 1] or not np.isfinite(y[i - 1])):
                piece += 1
            if np.isfinite(y[i]):
                name = f"{panel} {piece}"
                rows += [(panel, name, left[i], y[i]), (panel, name, right[i], y[i])]
    return pd.DataFrame(rows, columns=["panel", "piece", "x", "y"])


def _drawable(chart: ControlChart, line: str) -> Floats:
    y: Floats = getattr(chart, line)
    if line == "lower" and chart.kind != "individuals":
        least = NEAR_ZERO * float(np.nanmax(chart.upper, initial=0.0))
        return np.where(y > least, y, np.nan)
    if line == "upper" and chart.kind in {"p", "p'"}:
        return np.where(y < chart.multiplier, y, np.nan)
    return y


def _edges(chart: ControlChart, timeline: Timeline) -> tuple[Floats, Floats]:
    """Return where each point's step begins and ends: half-way, or at the change of phase."""
    x = positions(chart.periods, timeline)
    between = (x[1:] + x[:-1]) / 2
    begins = [place(c.started) - timeline.start - 0.5 for c in chart.changes if c.new_phase]
    for i in np.flatnonzero(chart.limit_set[1:] != chart.limit_set[:-1]).tolist():
        inside = [start for start in begins if x[i] <= start <= x[i + 1]]
        between[i] = inside[-1] if inside else between[i]
    return np.concatenate([x[:1] - 0.5, between]), np.concatenate([between, x[-1:] + 0.5])


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


def shorten(text: str, longest: int = LONGEST_LABEL) -> str:
    """Cut a title that would not fit beside its line, at a word where there is one."""
    if len(text) <= longest:
        return text
    cut = text[: longest - 1]
    return f"{cut[: cut.rfind(' ')] if ' ' in cut else cut}…"
