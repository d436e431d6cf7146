"""What goes into a control chart and what comes out of it, ready to draw."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

KINDS = ("run", "p", "p'", "u", "u'", "g", "t")
PROPORTIONS = frozenset({"p", "p'"})
RATES = frozenset({"u", "u'"})
GAPS = frozenset({"g", "t"})
"""Charts of the gap between events, of which higher means fewer."""


@dataclass(frozen=True, eq=False)
class Counts:
    """One series: a numerator and a denominator for each period, in time order.

    Parameters
    ----------
    periods : tuple of str, length k
        Labels that sort in time order, such as ``2025-04`` or ``2025-Q2``. For
        charts of rare events a label is the month of the event and may repeat.
    numerator : float array, shape (k,)
        Events (p, u), or the gap before the event (g: catheters strictly between two
        events; t: catheter-days).
    denominator : float array, shape (k,)
        Catheters, catheter-days, or ones where the chart has no denominator.
        Zero where the period had no catheters.
    provisional : bool array, shape (k,), optional
        Points not yet complete.
    ends_open : bool
        The last gap still runs: no event has ended it.

    Raises
    ------
    ValueError
        If lengths differ, a count is negative, or the periods are out of order.
    """

    periods: tuple[str, ...]
    numerator: Floats
    denominator: Floats
    provisional: Flags = field(default_factory=lambda: np.zeros(0, bool))
    ends_open: bool = False

    def __post_init__(self) -> None:
        k = len(self.periods)
        for name, kind in (("numerator", float), ("denominator", float)):
            object.__setattr__(self, name, np.asarray(getattr(self, name), dtype=kind))
        flags = np.asarray(self.provisional, dtype=bool)
        object.__setattr__(self, "provisional", flags if flags.size else np.zeros(k, bool))
        self._check(k)

    def _check(self, k: int) -> None:
        columns = (self.numerator, self.denominator, self.provisional)
        if any(column.shape != (k,) for column in columns):
            raise ValueError("periods, numerator, denominator and flags must have one length")
        if np.any(self.denominator < 0) or not np.all(np.isfinite(self.denominator)):
            raise ValueError("a denominator must be a number, zero or more")
        if any(a > b for a, b in zip(self.periods, self.periods[1:], strict=False)):
            raise ValueError("periods must be in time order")

    @cached_property
    def usable(self) -> Flags:
        """Where there is anything to plot: a denominator above zero and a numerator."""
        return (self.denominator > 0) & np.isfinite(self.numerator)

    @cached_property
    def complete(self) -> Flags:
        """Points that may stand in a baseline: usable and not provisional."""
        return self.usable & ~self.provisional

    def until(self, period: str) -> Counts:
        """Return the series up to a period."""
        if not self.periods or self.periods[-1] <= period:
            return self
        k = bisect_right(self.periods, period)
        return Counts(
            self.periods[:k], self.numerator[:k], self.denominator[:k], self.provisional[:k]
        )


@dataclass(frozen=True)
class Change:
    """A logged change; `started` is a label in the same form as the periods."""

    started: str
    title: str
    new_phase: bool = False
    change_id: str = ""


@dataclass(frozen=True)
class Phase:
    """A stretch of the chart between logged changes that asked for a new phase.

    `baseline_points` counts the complete points that the limits come from;
    `carried_forward` says that the phase is still too short for its own limits
    and is judged by those of the phase before.
    """

    number: int
    first: str
    last: str
    change: str
    baseline_first: str | None
    baseline_last: str | None
    baseline_points: int
    centre: float
    has_limits: bool
    carried_forward: bool


@dataclass(frozen=True)
class Signal:
    """A departure from chance, with the points it names.

    `useful` counts the points in which runs were looked for, and `crossings` how often
    they cross the centre line, where the rule is one of runs. `p_value` is the chance of
    a departure at least as large, anywhere in this chart, if nothing had changed: single
    points are multiplied by the number of points judged, so that it can be compared
    between charts.
    """

    kind: str
    points: tuple[int, ...]
    first: str
    last: str
    direction: str
    p_value: float
    useful: int = 0
    crossings: int = 0


@dataclass(frozen=True)
class Choice:
    """Why this kind of chart is drawn.

    Attributes
    ----------
    why : {"asked", "fits", "overdispersed", "short"}
        Forced; the measure's own; Laney's, since the baseline varies more than the
        measure's own allows; a run chart, since there are too few complete points.
    points : int
        Complete points in the baselines.
    chi_square, freedom, sigma_z : float, int, float
        Of the baseline's dispersion; no freedom where it was not asked.
    """

    why: Literal["asked", "fits", "overdispersed", "short"]
    points: int = 0
    chi_square: float = float("nan")
    freedom: int = 0
    sigma_z: float = float("nan")


@dataclass(frozen=True, eq=False)
class ControlChart:
    """A chart ready to draw. Arrays have one entry a point; nothing is left to compute.

    `value`, `centre`, `lower` and `upper` are in the measure's unit (already
    multiplied); NaN where there is no point or no limit. `exact` marks points
    with probability limits, `judged` those that can signal, `runs_judged` those whose
    runs mean something, `sigma` is the
    standard deviation that limits of three sigma were set from. `model` is the
    distribution of a point in control. `later_changes` begin after the last point and
    are not drawn. `ends_open` says that the last point of a chart of gaps is the wait
    since the last event.
    """

    kind: str
    model: str
    choice: Choice
    unit: str
    multiplier: float
    periods: tuple[str, ...]
    numerator: Floats
    denominator: Floats
    value: Floats
    centre: Floats
    lower: Floats
    upper: Floats
    sigma: Floats
    exact: Flags
    phase: Ints
    limit_set: Ints
    baseline: Flags
    provisional: Flags
    judged: Flags
    runs_judged: Flags
    phases: tuple[Phase, ...]
    changes: tuple[Change, ...]
    later_changes: tuple[Change, ...] = ()
    ends_open: bool = False
    signals: tuple[Signal, ...] = ()

    def __len__(self) -> int:
        """Return the number of points, drawn or not."""
        return len(self.periods)

    @property
    def is_of_gaps(self) -> bool:
        """Whether points are gaps between rare events, so that up is fewer events."""
        return self.model in {"geometric", "exponential"}

    @property
    def latest_centre(self) -> float:
        """The centre line in force at the last point; NaN where there is none."""
        return float(self.centre[-1]) if len(self) else float("nan")

    def signals_at(self, point: int) -> tuple[str, ...]:
        """Return the kinds of signal that name this point."""
        return tuple(dict.fromkeys(s.kind for s in self.signals if point in s.points))

    def with_signals(self, signals: tuple[Signal, ...]) -> ControlChart:
        """Return a copy with these signals."""
        return replace(self, signals=signals)
