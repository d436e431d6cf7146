"""What goes into a control chart and what comes out of it, ready to draw."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pipeline.analysis.charts.cusum import Cusum

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

KINDS = ("run", "p", "p'", "u", "u'", "g", "t")
PROPORTIONS = frozenset({"p", "p'"})
RATES = frozenset({"u", "u'"})
MODELS = {
    "p": "binomial", "u": "poisson", "p'": "binomial", "u'": "poisson",
    "g": "geometric", "t": "exponential",
}  # fmt: skip
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
    months : Counts, optional
        Of gaps between events: events and what they are counted against by month.

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
    months: Counts | None = None

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
        if list(self.periods) != sorted(self.periods):
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
            self.periods[:k], self.numerator[:k], self.denominator[:k], self.provisional[:k],
            months=self.months.until(period) if self.months else None,
        )  # fmt: skip


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
    `carried_forward` says that the phase has no baseline of its own yet and is judged by
    that of the phase before; `is_kept` that the baseline that judges it is complete.
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
    is_kept: bool = True


@dataclass(frozen=True)
class Signal:
    """A departure from the baseline, with the points it names.

    `kind` is ``beyond_limit`` or ``long_run`` on the points themselves, ``watch`` or
    ``call`` of the evidence added up month by month; `direction` is above or below, of
    gaps between events below where there are more events. Of a chart of gaps, evidence
    names months and no points.
    """

    kind: str
    points: tuple[int, ...]
    first: str
    last: str
    direction: str


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
    with probability limits, `judged` those that can signal, `kept` those that limits kept
    from a complete baseline judge, after it; `sigma` is the standard deviation of a
    point, `model` the distribution of a point in control. `later_changes` begin after the
    last point and are not drawn. `ends_open` says that the last
    point of a chart of gaps is the wait since the last event.
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
    kept: Flags
    phases: tuple[Phase, ...]
    changes: tuple[Change, ...]
    later_changes: tuple[Change, ...] = ()
    ends_open: bool = False
    signals: tuple[Signal, ...] = ()
    cusum: Cusum | None = None

    def __len__(self) -> int:
        """Return the number of points, drawn or not."""
        return len(self.periods)

    @property
    def is_of_gaps(self) -> bool:
        """Whether points are gaps between rare events, so that up is fewer events."""
        return self.model in {"geometric", "exponential"}

    @property
    def is_setting_baseline(self) -> bool:
        """Whether no baseline is complete yet, so that only points far out are told."""
        if self.cusum is not None:
            return not self.cusum.is_judged
        return not self.phases or not self.phases[-1].is_kept

    @property
    def latest_centre(self) -> float:
        """The centre line in force at the last point; NaN where there is none."""
        return float(self.centre[-1]) if len(self) else float("nan")

    def signals_at(self, point: int) -> tuple[str, ...]:
        """Return the kinds of signal that name this point."""
        return tuple(dict.fromkeys(s.kind for s in self.signals if point in s.points))

    def with_cusum(self, cusum: Cusum) -> ControlChart:
        """Return a copy that is judged by evidence, too, whose signals come first."""
        signals = (*cusum.signals(rare=self.is_of_gaps), *self.signals)
        return replace(self, cusum=cusum, signals=signals)
