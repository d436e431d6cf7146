"""What a control chart, or a kept list of signals, says about a quarter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.analysis.charts import ControlChart, Signal
from pipeline.measures.catalogue import Better
from pipeline.measures.counting import ALL
from pipeline.measures.periods import months_of
from pipeline.measures.signal_log import LoggedSignal

VerdictKind = Literal[
    "call", "watch", "beyond", "shift", "steady", "blind", "setting", "too_few", "provisional",
    "no_data",
]  # fmt: skip
Direction = Literal["better", "worse", ""]
RULES: dict[str, VerdictKind] = {
    "call": "call", "watch": "watch", "beyond_limit": "beyond", "long_run": "shift",
}  # fmt: skip
QUIET: frozenset[str] = frozenset({"steady", "blind"})  # judged, and nothing found
MOST_MONTHS = 24  # a chart that needs longer to see a doubling says too few to tell


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict of one measure in one quarter.

    Attributes
    ----------
    kind : str
        The foremost thing that the chart says.
    direction : {"better", "worse", ""}
        Which way it points, where it points anywhere.
    signals : tuple of LoggedSignal
        All that the chart signals in the quarter.
    rare : bool
        A point is the gap before an event, so that higher is fewer events.
    """

    kind: VerdictKind
    direction: Direction = ""
    signals: tuple[LoggedSignal, ...] = ()
    rare: bool = False

    @property
    def is_signal(self) -> bool:
        """Something that chance alone would rarely bring."""
        return self.kind in RULES.values()

    @property
    def is_call(self) -> bool:
        """Whether it is stated as having moved: beyond what looking at many charts brings."""
        return self.kind == "call"

    @property
    def named(self) -> tuple[LoggedSignal, ...]:
        """The signals that its words speak of."""
        return tuple(s for s in self.signals if RULES[s.kind] == self.kind)

    @property
    def words(self) -> str:
        """The verdict as the table prints it."""
        from pipeline.words.verdicts import verdict_words

        return verdict_words(self)

    @property
    def clause(self) -> str:
        """The same as a sentence without its stop; empty without a signal."""
        from pipeline.words.verdicts import verdict_clause

        return verdict_clause(self)


def judge(chart: ControlChart, quarter: str, better: Better, measure: str = "") -> Verdict:
    """Say what a chart tells about a quarter.

    Parameters
    ----------
    chart : ControlChart
        Of months, up to the quarter's last.
    quarter : str
        Such as `2025-Q4`.
    better : Better
        Which direction of the measure is better.
    measure : str
        Name of the measure, as a list of signals has it.
    """
    first, last = months_of(quarter)
    inside = np.array([first <= period <= last for period in chart.periods], bool)
    drawn = inside & np.isfinite(chart.value)
    if chart.ends_open:
        drawn[-1] = False  # the wait since the last event is no event
    if not chart.is_of_gaps and not drawn.any():
        return Verdict("no_data")
    found = [
        logged_signal(chart, s, measure, ALL)
        for s in chart.signals
        if s.first <= last and s.last >= first
    ]
    if found:
        return of_signals(found, better, rare=chart.is_of_gaps)
    if drawn.any() and chart.provisional[drawn].all():
        return Verdict("provisional")
    if chart.is_setting_baseline:
        return Verdict("setting")
    return Verdict("too_few" if chart.kind == "run" else "steady")


def logged_signal(chart: ControlChart, signal: Signal, measure: str, site: str) -> LoggedSignal:
    """Return a signal as a list keeps it."""
    from pipeline.words.chart import signal_sentence

    return LoggedSignal(
        measure, site, signal.kind, signal.direction, signal.first, signal.last,
        signal_sentence(chart, signal),
    )  # fmt: skip


def of_signals(found: Sequence[LoggedSignal], better: Better, *, rare: bool) -> Verdict:
    """Return the verdict of the signals of one chart; steady where there is none.

    Parameters
    ----------
    found : sequence of LoggedSignal
        In the order of the rules, then of time.
    better : Better
    rare : bool
        Up means fewer events.
    """
    for rule, kind in RULES.items():
        named = [s for s in found if s.kind == rule]
        if named:
            way = direction_of(named[-1].direction, better, rare=rare)
            return Verdict(kind, way, tuple(found), rare)
    return Verdict("steady")


def with_sight(verdict: Verdict, months_to_doubling: float) -> Verdict:
    """Call a quiet chart steady only where it would have seen a doubling in two years."""
    if verdict.kind == "steady" and months_to_doubling > MOST_MONTHS:
        return Verdict("blind")
    return verdict


def direction_of(side: str, better: Better, *, rare: bool) -> Direction:
    """Say whether a departure is for the better; in a chart of gaps up is fewer events."""
    if side not in {"above", "below"} or better is Better.NEITHER:
        return ""
    is_more = (side == "above") != rare
    return "better" if is_more == (better is Better.HIGHER) else "worse"
