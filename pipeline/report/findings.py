"""What a control chart says about one quarter, and the figures that go with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.charts import ControlChart, Signal
from pipeline.analysis.charts.detectability import Detectability
from pipeline.analysis.rates import LOW_ASCERTAINMENT
from pipeline.measures.catalogue import Measure
from pipeline.report import words
from pipeline.report.numbers import Number

RARE = frozenset({"g", "t"})  # charts of the gap between events: up means fewer events

Kind = Literal[
    "beyond", "shift", "uneven", "steady", "blind", "too_few", "provisional", "no_data", "withheld"
]
Bools = NDArray[np.bool_]
MOST_MONTHS = 24  # a chart that needs longer to see a doubling says too few to tell
SIGNALS: frozenset[str] = frozenset({"beyond", "shift", "uneven"})


@dataclass(frozen=True, slots=True)
class Rate:
    """A measure's rate in one period, with what it is made of.

    `rate`, `lower` and `upper` are in the measure's unit and NaN where the
    denominator is zero; `withheld` says that its cells are too small to show,
    `missing_withheld` that the episodes of unknown numerator are. `if_none` and
    `if_all` are the rate had none, or all, of the missing had the event.
    """

    period: str
    numerator: float
    denominator: float
    episodes: int
    ascertained: int
    rate: float
    lower: float
    upper: float
    provisional: bool = False
    withheld: bool = False
    missing_withheld: bool = False
    if_none: float = float("nan")
    if_all: float = float("nan")

    @property
    def has_figures(self) -> bool:
        """There is something to print."""
        return self.denominator > 0 and not self.withheld

    @property
    def ascertainment(self) -> float:
        """Episodes of known numerator ÷ episodes; NaN without episodes."""
        return self.ascertained / self.episodes if self.episodes else float("nan")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict of one measure in one quarter.

    Attributes
    ----------
    kind : str
        The foremost thing that the chart says.
    words : str
        The verdict as the table prints it.
    clause : str
        The same as a sentence without its stop; empty without a signal.
    direction : {"better", "worse", ""}
        Which way it points, where it points anywhere.
    side : {"above", "below", ""}
        Of the centre line, as drawn.
    since : str
        First period that the signal names; empty without one.
    """

    kind: Kind
    words: str
    clause: str = ""
    direction: Literal["better", "worse", ""] = ""
    side: str = ""
    since: str = ""

    @property
    def is_signal(self) -> bool:
        """Something that chance alone would rarely bring."""
        return self.kind in SIGNALS

    def is_same_as(self, other: Verdict) -> bool:
        """Both speak of one signal: the same kind on the same side."""
        return self.kind == other.kind and self.side == other.side


@dataclass(frozen=True, slots=True)
class Finding:
    """One measure in one quarter: its figures, its chart and its verdict.

    Attributes
    ----------
    measure : Measure
        Its card.
    now, year_before : Rate
        The quarter, and the four quarters before it together.
    quarters : tuple of Rate
        The last eight quarters, this one last.
    chart : ControlChart
        All of it, as it was judged; for the quarter's last month and before.
    shown : ControlChart or None
        What of it may be drawn; None where nothing may.
    verdict, verdict_before : Verdict
        Now, and as it would have been a quarter ago.
    target : float or None
        In the measure's unit.
    sight : Detectability or None
        What the chart can and cannot see.
    """

    measure: Measure
    now: Rate
    year_before: Rate
    quarters: tuple[Rate, ...]
    chart: ControlChart
    shown: ControlChart | None
    verdict: Verdict
    verdict_before: Verdict
    target: float | None = None
    sight: Detectability | None = None

    @property
    def months_to_doubling(self) -> float:
        """Expected months until a doubling would show; NaN where not known."""
        return self.sight.delays[0].months if self.sight else float("nan")

    @property
    def state(self) -> Literal["new", "continuing", "ended", ""]:
        """Whether the signal is new this quarter, goes on, or has ended."""
        now, before = self.verdict, self.verdict_before
        if now.is_signal:
            return "continuing" if now.is_same_as(before) else "new"
        return "ended" if before.is_signal and now.kind in ("steady", "blind") else ""

    def numbers(self) -> tuple[Number, ...]:
        """Return the figures that sentences and tables quote."""
        unit, name = self.measure.unit, self.measure.name
        found = [number_of(f"{name}/{rate.period}", rate, unit) for rate in self.quarters]
        found.append(number_of(f"{name}/year-before", self.year_before, unit))
        if self.is_poorly_known:
            now = f"{name}/{self.now.period}"
            found.append(Number(f"{now}/if-none", self.now.if_none, unit))
            found.append(Number(f"{now}/if-all", self.now.if_all, unit))
        if self.target is not None:
            found.append(Number(f"{name}/target", self.target, unit))
        if self.sight is not None:
            found.append(Number(f"{name}/false-signal", self.sight.false_signal, "probability"))
            found.append(Number(f"{name}/months-to-doubling", self.months_to_doubling, "months"))
        return tuple(found)

    @property
    def is_poorly_known(self) -> bool:
        """Known for so few that the range of what it could be stands beside the rate."""
        now = self.now
        is_few = now.has_figures and now.ascertainment < LOW_ASCERTAINMENT
        return is_few and not now.missing_withheld

    @property
    def number_id(self) -> str:
        """Id of this quarter's figure."""
        return f"{self.measure.name}/{self.now.period}"

    @property
    def year_before_id(self) -> str:
        """Id of the figure of the four quarters before."""
        return f"{self.measure.name}/year-before"


def number_of(name: str, rate: Rate, unit: str) -> Number:
    """Return a rate as an entry of `numbers.json`; withheld figures stay out."""
    if rate.withheld:
        return Number(name, None, unit, provisional=rate.provisional, withheld=True)
    return Number(
        name,
        rate.rate,
        unit,
        rate.numerator,
        rate.denominator,
        rate.lower,
        rate.upper,
        rate.episodes,
        None if rate.missing_withheld else rate.ascertained,
        rate.provisional,
    )


def judge(chart: ControlChart, quarter: str, better: str) -> Verdict:
    """Say what a chart tells about a quarter.

    Parameters
    ----------
    chart : ControlChart
        Of months, up to the quarter's last.
    quarter : str
        Such as `2025-Q4`.
    better : {"lower", "higher"}
        Which direction of the measure is better.
    """
    months = words.months_of(quarter)
    inside = np.array([period in months for period in chart.periods], bool)
    drawn = inside & np.isfinite(chart.value) & ~chart.suppressed
    if not chart.is_of_gaps and not drawn.any():
        return Verdict("no_data", "no figures")
    found = [s for s in chart.signals if any(inside[i] for i in s.points)]
    if found:
        return _of_signals(chart, found, better)
    if drawn.any() and chart.provisional[drawn].all():
        return Verdict("provisional", "provisional")
    if chart.kind == "run":
        return Verdict("too_few", "too few to tell")
    return Verdict("steady", "steady")


def judge_told(chart: ControlChart, quarter: str, better: str, withheld: Bools) -> Verdict:
    """Judge the whole chart, but name no signal that rests on a point withheld."""
    whole = judge(chart, quarter, better)
    verdict = judge(chart.with_signals(told_signals(chart, withheld)), quarter, better)
    is_lost = whole.is_signal and not verdict.is_signal
    return Verdict("withheld", "withheld") if is_lost else verdict


def told_signals(chart: ControlChart, withheld: Bools) -> tuple[Signal, ...]:
    """Return the signals that name no point withheld."""
    return tuple(s for s in chart.signals if not withheld[list(s.points)].any())


def with_sight(verdict: Verdict, months_to_doubling: float) -> Verdict:
    """Call a quiet chart steady only where it would have seen a doubling in two years."""
    if verdict.kind == "steady" and months_to_doubling > MOST_MONTHS:
        return Verdict("blind", "too few to tell")
    return verdict


def _of_signals(chart: ControlChart, found: list[Signal], better: str) -> Verdict:
    beyond = [s for s in found if s.kind == "beyond_limit"]
    shifts = [s for s in found if s.kind == "long_run"]
    if not (beyond or shifts):
        since = found[0].first
        spoken = words.month(since)
        clause = f"The figures since {spoken} do not scatter as chance alone would have them"
        return Verdict("uneven", f"uneven since {spoken}", clause, since=since)
    rare = chart.is_of_gaps
    said = [_beyond(beyond, rare=rare)] if beyond else []
    said += [_shift(shifts[-1], rare=rare)] if shifts else []
    foremost = (beyond or shifts)[-1]
    return Verdict(
        "beyond" if beyond else "shift",
        "; ".join(short for short, _ in said),
        ", and ".join(
            clause if i == 0 else words.lower_first(clause) for i, (_, clause) in enumerate(said)
        ),
        _direction(foremost.direction, better, rare=rare),
        foremost.direction,
        foremost.first,
    )


def _beyond(signals: list[Signal], *, rare: bool) -> tuple[str, str]:
    """Return the verdict and the clause for points beyond a limit."""
    side = signals[-1].direction
    same = dict.fromkeys(words.month(s.first) for s in signals if s.direction == side)
    when = words.joined(list(same))
    if rare:
        apart = "further apart" if side == "above" else "closer together"
        return f"events {apart} in {when}", f"Events in {when} were {apart} than the limit"
    limit = "upper" if side == "above" else "lower"
    return f"{side} the limit in {when}", f"The rate was {side} the {limit} limit in {when}"


def _shift(signal: Signal, *, rare: bool) -> tuple[str, str]:
    """Return the verdict and the clause for a long run on one side."""
    up = signal.direction == "above"
    since = words.month(signal.first)
    if rare:
        apart = "further apart" if up else "closer together"
        return f"events {apart} from {since}", f"Events have been {apart} since {since}"
    way = "up" if up else "down"
    return f"shift {way} from {since}", f"The rate has shifted {way} since {since}"


def _direction(side: str, better: str, *, rare: bool) -> Literal["better", "worse"]:
    """Say whether a departure is for the better; in a rare-event chart up is fewer."""
    is_more = (side == "above") != rare
    return "better" if is_more == (better == "higher") else "worse"
