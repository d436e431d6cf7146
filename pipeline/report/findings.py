"""What a control chart says about one quarter, and the figures that go with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.analysis.charts import ControlChart
from pipeline.analysis.charts.detectability import Detectability
from pipeline.analysis.rates.rates import LOW_ASCERTAINMENT
from pipeline.measures.catalogue import Measure
from pipeline.measures.signal_log import LoggedSignal, State, states
from pipeline.report.numbers import Number

Kind = Literal[
    "beyond", "shift", "uneven", "steady", "blind", "too_few", "provisional", "no_data", "withheld"
]
RUNS_AND_LIMITS = frozenset({"beyond_limit", "long_run"})
SIGNALS: frozenset[str] = frozenset({"beyond", "shift", "uneven"})
QUIET: frozenset[str] = frozenset({"steady", "blind"})  # judged, and nothing found


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
    signals : tuple of LoggedSignal
        All that the chart signals in the quarter.
    """

    kind: Kind
    words: str
    clause: str = ""
    direction: Literal["better", "worse", ""] = ""
    signals: tuple[LoggedSignal, ...] = ()

    @property
    def is_signal(self) -> bool:
        """Something that chance alone would rarely bring."""
        return self.kind in SIGNALS

    @property
    def named(self) -> tuple[LoggedSignal, ...]:
        """The signals that its words speak of."""
        if self.kind == "uneven":
            return self.signals
        return tuple(s for s in self.signals if s.kind in RUNS_AND_LIMITS)


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
        Of this quarter, and of the one before: as the list of signals kept at its time
        had it, or as today's records show it where none was kept.
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
    def state(self) -> State | Literal[""]:
        """Whether what the verdict names is new this quarter, goes on, or has ended."""
        if self.verdict.is_signal:
            found, _ = states(self.verdict.named, self.verdict_before.signals)
            return "new" if "new" in found else "continuing"
        return "ended" if self.ended else ""

    @property
    def ended(self) -> tuple[LoggedSignal, ...]:
        """The signals of the quarter before that are no more; none where nothing is judged."""
        if not (self.verdict.is_signal or self.verdict.kind in QUIET):
            return ()
        return tuple(states(self.verdict.signals, self.verdict_before.signals)[1])

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
