"""What the signals of a chart say: in the few words of a title or table, and as a clause.

`rare` says that a point is the gap before an event, so that higher is fewer events.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.words.numbers import joined, lower_first, month

if TYPE_CHECKING:
    from pipeline.answers.verdicts import Verdict
    from pipeline.measures.signal_log import LoggedSignal

NAMED_MONTHS = 3
"""Months that are named before they are counted instead."""
QUIET = {
    "steady": "steady",
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


def uneven_words(since: str) -> str:
    """Say that the centre line is crossed too seldom."""
    return f"uneven since {month(since)}"


def signal_words(signal: LoggedSignal, *, rare: bool) -> str:
    """Say one signal."""
    if signal.kind == "beyond_limit":
        return beyond_words(signal.direction, [signal.first_period], rare=rare)
    if signal.kind == "long_run":
        return shift_words(signal.direction, signal.first_period, rare=rare)
    return uneven_words(signal.first_period)


def verdict_words(verdict: Verdict) -> str:
    """Say a verdict as the table prints it."""
    if not verdict.is_signal:
        return QUIET[verdict.kind]
    if verdict.kind == "uneven":
        return uneven_words(verdict.signals[0].first_period)
    said, beyond, shift = [], verdict.beyond, verdict.shift
    if beyond:
        said.append(beyond_words(beyond[-1].direction, _same_side(beyond), rare=verdict.rare))
    if shift:
        said.append(shift_words(shift.direction, shift.first_period, rare=verdict.rare))
    return "; ".join(said)


def verdict_clause(verdict: Verdict) -> str:
    """Say a verdict as a sentence without its stop; empty without a signal."""
    if not verdict.is_signal:
        return ""
    if verdict.kind == "uneven":
        since = month(verdict.signals[0].first_period)
        return f"The figures since {since} do not scatter as chance alone would have them"
    said, beyond, shift = [], verdict.beyond, verdict.shift
    if beyond:
        said.append(_beyond_clause(beyond, rare=verdict.rare))
    if shift:
        clause = _shift_clause(shift, rare=verdict.rare)
        said.append(lower_first(clause) if beyond else clause)
    return ", and ".join(said)


def _beyond_clause(signals: Sequence[LoggedSignal], *, rare: bool) -> str:
    side = signals[-1].direction
    when = joined(_named(_same_side(signals)))
    if rare:
        return f"Events in {when} were {_apart(side)} than the limit"
    limit = "upper" if side == "above" else "lower"
    return f"The rate was {side} the {limit} limit in {when}"


def _shift_clause(signal: LoggedSignal, *, rare: bool) -> str:
    since = month(signal.first_period)
    if rare:
        return f"Events have been {_apart(signal.direction)} since {since}"
    return f"The rate has shifted {_way(signal.direction)} since {since}"


def _same_side(signals: Sequence[LoggedSignal]) -> list[str]:
    """Return the periods of the signals on the side of the last."""
    return [s.first_period for s in signals if s.direction == signals[-1].direction]


def _named(periods: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(month(period) for period in periods))


def _apart(direction: str) -> str:
    return "further apart" if direction == "above" else "closer together"


def _way(direction: str) -> str:
    return "up" if direction == "above" else "down"
