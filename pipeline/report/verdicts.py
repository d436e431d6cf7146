"""Verdicts in words: what a control chart, or a kept list of signals, says about a quarter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from pipeline.analysis.charts import ControlChart, Signal
from pipeline.measures.signal_log import LoggedSignal
from pipeline.report.findings import Verdict
from pipeline.words import numbers as words
from pipeline.words.chart import signal_sentence

MOST_MONTHS = 24  # a chart that needs longer to see a doubling says too few to tell
NETWORK = "all"  # whose chart it is, in a list of signals


def judge(chart: ControlChart, quarter: str, better: str, measure: str = "") -> Verdict:
    """Say what a chart tells about a quarter.

    Parameters
    ----------
    chart : ControlChart
        Of months, up to the quarter's last.
    quarter : str
        Such as `2025-Q4`.
    better : {"lower", "higher"}
        Which direction of the measure is better.
    measure : str
        Name of the measure, as a list of signals has it.
    """
    months = words.months_of(quarter)
    inside = np.array([period in months for period in chart.periods], bool)
    drawn = inside & np.isfinite(chart.value)
    if not chart.is_of_gaps and not drawn.any():
        return Verdict("no_data", "no figures")
    found = [_listed(chart, s, measure) for s in chart.signals if any(inside[i] for i in s.points)]
    if found:
        return of_signals(found, better, rare=chart.is_of_gaps)
    if drawn.any() and chart.provisional[drawn].all():
        return Verdict("provisional", "provisional")
    if chart.kind == "run":
        return Verdict("too_few", "too few to tell")
    return Verdict("steady", "steady")


def _listed(chart: ControlChart, signal: Signal, measure: str) -> LoggedSignal:
    """Return a signal as a list keeps it; among how many charts it stands is not asked here."""
    return LoggedSignal(
        measure, NETWORK, signal.kind, signal.direction, signal.first, signal.last,
        signal_sentence(chart, signal), signal.p_value, float("nan"),
    )  # fmt: skip


def judge_kept(kept: Sequence[LoggedSignal], chart: ControlChart, better: str) -> Verdict:
    """Say what a kept list of a measure's signals, of all sites together, told."""
    if kept:
        return of_signals(kept, better, rare=chart.is_of_gaps)
    return Verdict("steady", "steady")


def turned(kept: Sequence[LoggedSignal]) -> list[LoggedSignal]:
    """Return signals of gaps as signals of counts: wider gaps are fewer events."""
    other = {"above": "below", "below": "above"}
    return [replace(s, direction=other.get(s.direction, s.direction)) for s in kept]


def with_sight(verdict: Verdict, months_to_doubling: float) -> Verdict:
    """Call a quiet chart steady only where it would have seen a doubling in two years."""
    if verdict.kind == "steady" and months_to_doubling > MOST_MONTHS:
        return Verdict("blind", "too few to tell")
    return verdict


def of_signals(found: Sequence[LoggedSignal], better: str, *, rare: bool) -> Verdict:
    """Put the signals of one chart into words; `rare` where up means fewer events."""
    beyond = [s for s in found if s.kind == "beyond_limit"]
    shifts = [s for s in found if s.kind == "long_run"]
    if not (beyond or shifts):
        short, clause = _uneven(found[0].first_period)
        return Verdict("uneven", short, clause, signals=tuple(found))
    said = [_beyond(beyond, rare=rare)] if beyond else []
    said += [_shift(shifts[-1], rare=rare)] if shifts else []
    foremost = (beyond or shifts)[-1]
    return Verdict(
        "beyond" if beyond else "shift",
        "; ".join(short for short, _ in said),
        ", and ".join(
            clause if i == 0 else words.lower_first(clause) for i, (_, clause) in enumerate(said)
        ),
        direction_of(foremost, better, rare=rare),
        tuple(found),
    )


def short_words(signal: LoggedSignal, *, rare: bool) -> str:
    """Return one signal in the few words that a table has room for."""
    if signal.kind == "beyond_limit":
        return _beyond([signal], rare=rare)[0]
    if signal.kind == "long_run":
        return _shift(signal, rare=rare)[0]
    return _uneven(signal.first_period)[0]


def direction_of(
    signal: LoggedSignal, better: str, *, rare: bool
) -> Literal["better", "worse", ""]:
    """Say whether a departure is for the better; in a rare-event chart up is fewer."""
    if signal.direction not in ("above", "below"):
        return ""
    is_more = (signal.direction == "above") != rare
    return "better" if is_more == (better == "higher") else "worse"


def _beyond(signals: Sequence[LoggedSignal], *, rare: bool) -> tuple[str, str]:
    """Return the verdict and the clause for points beyond a limit."""
    side = signals[-1].direction
    same = dict.fromkeys(words.month(s.first_period) for s in signals if s.direction == side)
    when = words.joined(list(same))
    if rare:
        apart = "further apart" if side == "above" else "closer together"
        return f"events {apart} in {when}", f"Events in {when} were {apart} than the limit"
    limit = "upper" if side == "above" else "lower"
    return f"{side} the limit in {when}", f"The rate was {side} the {limit} limit in {when}"


def _shift(signal: LoggedSignal, *, rare: bool) -> tuple[str, str]:
    """Return the verdict and the clause for a long run on one side."""
    up = signal.direction == "above"
    since = words.month(signal.first_period)
    if rare:
        apart = "further apart" if up else "closer together"
        return f"events {apart} from {since}", f"Events have been {apart} since {since}"
    way = "up" if up else "down"
    return f"shift {way} from {since}", f"The rate has shifted {way} since {since}"


def _uneven(since: str) -> tuple[str, str]:
    """Return the verdict and the clause for few crossings."""
    spoken = words.month(since)
    clause = f"The figures since {spoken} do not scatter as chance alone would have them"
    return f"uneven since {spoken}", clause
