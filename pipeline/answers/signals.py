"""The signals of a quarter: of every measure's chart, of everybody and of each group."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.analysis.charts import ControlChart, Signal
from pipeline.answers.chart_series import ChartSeries, read_series
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.verdicts import Direction, direction_of, logged_signal
from pipeline.measures.catalogue import Measure, measures_in_force
from pipeline.measures.counting import ALL
from pipeline.measures.periods import EARLIEST, months_of, quarter_before
from pipeline.measures.quarters import check_quarter
from pipeline.measures.signal_log import (
    LoggedSignal,
    State,
    is_kept,
    keep_signals,
    kept_signals,
    states,
)
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    from pipeline.figures.look import Drawing

WORSE_FIRST = {"worse": 0, "": 1, "better": 2}
LEVELS = ("safety", "call", "watch", "mark")
KINDS_IN_ORDER = ("outcome", "process", "balancing")
SCHEMA = {
    **dict.fromkeys(
        ("measure", "site", "level", "kind", "direction", "for_the", "first", "last", "state",
         "chart", "sentence", "new_limits_since"),
        pl.String,
    ),
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class LookedAt:
    """One chart that was looked at, of a measure in a group."""

    measure: Measure
    group: str
    chart: ControlChart


@dataclass(frozen=True, eq=False)
class JudgedSignal:
    """One signal of one chart."""

    looked_at: LookedAt
    signal: Signal

    @property
    def level(self) -> str:
        """What it asks for: ``safety`` and ``call`` to act on, ``watch``, or a ``mark`` to see."""
        if self.signal.kind == "call":
            is_safety = self.looked_at.measure.is_safety and self.direction == "worse"
            return "safety" if is_safety else "call"
        return "watch" if self.signal.kind == "watch" else "mark"

    @property
    def direction(self) -> Direction:
        """Better, worse, or neither."""
        better, rare = self.looked_at.measure.better, self.looked_at.chart.is_of_gaps
        return direction_of(self.signal.direction, better, rare=rare)

    @property
    def logged(self) -> LoggedSignal:
        """The signal as it is kept."""
        one = self.looked_at
        return logged_signal(one.chart, self.signal, one.measure.name, one.group)


@dataclass(frozen=True, eq=False)
class QuarterSignals:
    """All signals that name a point of a quarter, most important first.

    Attributes
    ----------
    quarter : str
    looked_at : tuple of LookedAt
        The charts that have a judged point in the quarter.
    found : tuple of JudgedSignal
    states : tuple of {"new", "continuing"}
        Of each of `found`.
    ended : tuple of LoggedSignal
        Of the quarter before, and no more.
    was_kept : bool
        Whether the quarter before was listed at its time; else its signals are those
        that today's records show for it.
    """

    quarter: str
    looked_at: tuple[LookedAt, ...]
    found: tuple[JudgedSignal, ...]
    states: tuple[State, ...]
    ended: tuple[LoggedSignal, ...]
    was_kept: bool

    def frame(self) -> pl.DataFrame:
        """Return a row a signal, those that have ended last."""
        said = self.as_json()
        return pl.DataFrame([*said["signals"], *said["ended"]], schema=SCHEMA)

    def figure(self) -> Drawing:
        """Return the charts that signal as small multiples; without a signal all of them."""
        from pipeline.figures.control_chart import small_multiples
        from pipeline.figures.look import standalone

        signalling = list(dict.fromkeys(one.looked_at for one in self.found))
        panels = {
            f"{one.measure.title}, {one.group}": one.chart for one in signalling or self.looked_at
        }
        return standalone(small_multiples(panels, self.quarter, common_axes=False))

    def as_json(self) -> dict[str, Any]:
        """Return the signals with their states, and those that have ended."""
        since = {(one.measure.name, one.group): _limits_since(one.chart) for one in self.looked_at}
        rows = [_row(one, state) for one, state in zip(self.found, self.states, strict=True)]
        ended = [_ended_row(one, since.get((one.measure, one.site), "")) for one in self.ended]
        charts = len(self.looked_at)
        return {"quarter": self.quarter, "charts": charts, "signals": rows, "ended": ended}

    def is_kept_in(self, store: Store) -> bool:
        """Whether a store holds this list as the quarter's latest."""
        return is_kept(store, self.quarter, [one.logged for one in self.found])

    def keep_in(self, store: Store) -> None:
        """Keep the list in a store open for writing, unless the same is kept already."""
        logged = [one.logged for one in self.found]
        keep_signals(store, self.quarter, logged, len(self.looked_at))


def quarter_signals(
    store: Store, quarter: str, *, by: str = "site", settings: Settings | None = None
) -> QuarterSignals:
    """Judge every measure's chart, of everybody and of each group, up to a quarter.

    A signal counts where it names a month of the quarter.

    Parameters
    ----------
    store : Store
        An open store.
    quarter : str
        Such as `2025-Q4`.
    by : str
        A dimension. Lists of signals are kept by site.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    UsageError
        `quarter` is none.
    NoDataError
        The store holds no episode in it.
    """
    check_quarter(store, quarter)
    parts = read_series(
        store, measures_in_force(settings), by=by, months=(EARLIEST, months_of(quarter)[1]),
        with_total=True, settings=settings,
    )  # fmt: skip
    if len({part.group for part in parts} - {ALL}) == 1:  # its charts are those of everybody
        parts = [part for part in parts if part.group == ALL]
    looked_at, found = _of_quarter(parts, quarter)
    kept = kept_signals(store, quarter_before(quarter))
    if kept is None:
        charts, then = _of_quarter(parts, quarter_before(quarter))
        before, was_kept = [one.logged for one in then], not charts
    else:
        before, was_kept = kept, True
    state, gone = states([one.logged for one in found], before)
    gone.sort(key=lambda signal: (signal.kind != "call", signal.site != ALL, signal.measure))
    return QuarterSignals(
        quarter, tuple(looked_at), tuple(found), tuple(state), tuple(gone), was_kept
    )


def _of_quarter(
    parts: Sequence[ChartSeries], quarter: str
) -> tuple[list[LookedAt], list[JudgedSignal]]:
    """Return the charts with a judged point in a quarter, and the signals that name one."""
    first, last = months_of(quarter)
    drawn = draw_charts(parts, until=last)
    looked_at = [
        LookedAt(part.measure, part.group, chart)
        for part, chart in zip(parts, drawn, strict=True)
        if _has_point(chart, first)
    ]
    return looked_at, sorted(judged_signals(looked_at, since=first), key=_importance)


def judged_signals(looked_at: Sequence[LookedAt], *, since: str = "") -> list[JudgedSignal]:
    """Return the signals of some charts that name a period from `since` on."""
    return [JudgedSignal(one, s) for one in looked_at for s in one.chart.signals if s.last >= since]


def calls(found: Iterable[JudgedSignal]) -> dict[tuple[str, str], tuple[Signal, ...]]:
    """Return the calls, by measure and group."""
    kept: dict[tuple[str, str], tuple[Signal, ...]] = {}
    for one in found:
        if one.signal.kind == "call":
            whose = one.looked_at.measure.name, one.looked_at.group
            kept[whose] = (*kept.get(whose, ()), one.signal)
    return kept


def _importance(found: JudgedSignal) -> tuple[object, ...]:
    """Order: safety, calls, watches, marks; what is worse; outcomes first."""
    measure = found.looked_at.measure
    return (
        LEVELS.index(found.level), WORSE_FIRST[found.direction],
        KINDS_IN_ORDER.index(measure.kind.value), measure.place, measure.name,
        found.looked_at.group, found.signal.kind, found.signal.first,
    )  # fmt: skip


def _has_point(chart: ControlChart, first_month: str) -> bool:
    return any(
        period >= first_month and judged
        for period, judged in zip(chart.periods, chart.judged.tolist(), strict=True)
    )


def _limits_since(chart: ControlChart) -> str:
    """Return the first period of the limits in force at the end."""
    return chart.periods[chart.limit_set.tolist().index(int(chart.limit_set[-1]))]


def _row(found: JudgedSignal, state: State) -> dict[str, Any]:
    signal, logged = found.signal, found.logged
    return {
        "measure": logged.measure,
        "site": logged.site,
        "level": found.level,
        "kind": signal.kind,
        "direction": signal.direction,
        "for_the": found.direction or None,
        "first": signal.first,
        "last": signal.last,
        "state": state,
        "chart": found.looked_at.chart.kind,
        "sentence": logged.sentence,
    }


def _ended_row(signal: LoggedSignal, since: str) -> dict[str, Any]:
    redrawn = signal.first_period < since <= signal.last_period
    return {
        "measure": signal.measure,
        "site": signal.site,
        "kind": signal.kind,
        "direction": signal.direction,
        "first": signal.first_period,
        "last": signal.last_period,
        "state": "ended",
        "new_limits_since": since if redrawn else None,
    }
