"""What the signals of a chart say: in the few words of a title or table, and as a clause.

`rare` says that a point is the gap before an event, so that higher is fewer events.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.words.numbers import joined, month, sentence_case

if TYPE_CHECKING:
    from pipeline.answers.verdicts import Verdict
    from pipeline.measures.signal_log import LoggedSignal

NAMED_MONTHS = 3
"""Months that are named before they are counted instead."""
QUIET = {
    "steady": "steady",
    "setting": "setting its baseline",
    "blind": "too few to tell",
    "too_few": "too few to tell",
    "provisional": "provisional",
    "no_data": "no figures",
}


def beyond_words(direction: str, periods: Sequence[str], *, rare: bool) -> str:
    """Say that points lie beyond a limit, in order of time, the last of them in `direction`."""
    what = f"events {_apart(direction)}" if rare else f"{direction} the limit"
    months = _named(periods)
    if len(months) > NAMED_MONTHS:
        return f"{what} in {len(months)} periods, last in {months[-1]}"
    return f"{what} in {joined(months)}"


def shift_words(direction: str, since: str, *, rare: bool) -> str:
    """Say that there is a long run on one side of the centre line."""
    if rare:
        return f"events {_apart(direction)} from {month(since)}"
    return f"shift {_way(direction)} from {month(since)}"


def evidence_words(kind: str, direction: str, since: str, *, rare: bool) -> str:
    """Say that the evidence of a change has reached a watch, or a call."""
    maybe, ends = ("", "") if kind == "call" else ("may be ", ": watch")
    what = f"events {maybe}{_apart(direction)}" if rare else f"{maybe}{_way(direction)}"
    return f"{what} since {month(since)}{ends}"


def signal_words(signal: LoggedSignal, *, rare: bool) -> str:
    """Say one signal."""
    if signal.kind == "beyond_limit":
        return beyond_words(signal.direction, [signal.first_period], rare=rare)
    if signal.kind == "long_run":
        return shift_words(signal.direction, signal.first_period, rare=rare)
    return evidence_words(signal.kind, signal.direction, signal.first_period, rare=rare)


def verdict_words(verdict: Verdict) -> str:
    """Say a verdict as the table prints it."""
    if not verdict.is_signal:
        return QUIET[verdict.kind]
    last = verdict.named[-1]
    if verdict.kind == "beyond":
        return beyond_words(last.direction, _same_side(verdict.named), rare=verdict.rare)
    return signal_words(last, rare=verdict.rare)


def verdict_clause(verdict: Verdict) -> str:
    """Say a verdict as a sentence without its stop; empty without a signal."""
    if not verdict.is_signal:
        return ""
    last = verdict.named[-1]
    since = month(last.first_period)
    if verdict.kind == "beyond":
        return _beyond_clause(verdict.named, rare=verdict.rare)
    if verdict.kind == "watch":
        return sentence_case(verdict_words(verdict))
    if verdict.rare:
        return f"Events have been {_apart(last.direction)} since {since}"
    return f"The rate has been {_way(last.direction)} since {since}"


def _beyond_clause(signals: Sequence[LoggedSignal], *, rare: bool) -> str:
    side = signals[-1].direction
    when = joined(_named(_same_side(signals)))
    if rare:
        return f"Events in {when} were {_apart(side)} than the limit"
    limit = "upper" if side == "above" else "lower"
    return f"The rate was {side} the {limit} limit in {when}"


def _same_side(signals: Sequence[LoggedSignal]) -> list[str]:
    """Return the periods of the signals on the side of the last."""
    return [s.first_period for s in signals if s.direction == signals[-1].direction]


def _named(periods: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(month(period) for period in periods))


def _apart(direction: str) -> str:
    return "further apart" if direction == "above" else "closer together"


def _way(direction: str) -> str:
    return "up" if direction == "above" else "down"
