"""Where a control chart's axis of rates starts, ends and is labelled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

import pandas as pd
from mizani.breaks import breaks_extended

from pipeline.analysis.charts.results import ControlChart


def whole(charts: Iterable[ControlChart]) -> float:
    """Return what no point can pass: the whole of a proportion, else infinity."""
    return max((c.multiplier if c.model == "binomial" else inf for c in charts), default=inf)


@dataclass(frozen=True)
class Breaks:
    """Breaks of an axis, none above the whole: the room over it is for labels."""

    whole: float

    def __call__(self, limits: tuple[float, float]) -> list[float]:
        """Return breaks between two limits."""
        low, high = limits
        return [float(b) for b in breaks_extended()((low, min(high, self.whole)))
                if b <= self.whole]  # fmt: skip


def top(chart: ControlChart) -> float:
    """Return the highest thing drawn."""
    held = pd.concat([pd.Series(chart.value), pd.Series(chart.upper)]).dropna()
    return float(held.max()) if len(held) and held.max() > 0 else 1.0


def bottom(chart: ControlChart) -> float:
    """Return where the axis starts: at zero unless all lies far above it."""
    held = pd.concat([pd.Series(chart.value), pd.Series(chart.lower)]).dropna()
    return 0.0 if not len(held) or held.min() < 0.5 * top(chart) else float(held.min())
