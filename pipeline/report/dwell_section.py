"""How long catheters stay and why they come out: sentences, table, figures quoted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.survival.time_in_place import Quantile
from pipeline.answers.removal import RemovalResult
from pipeline.answers.removal_groups import RemovalGroup
from pipeline.measures.grace import EarlyWithin
from pipeline.report import markdown
from pipeline.report.markdown import TableColumn
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block
from pipeline.report.workbook import Sheet
from pipeline.words import numbers as words
from pipeline.words.codes import noun_of, words_of
from pipeline.words.numbers import figure, with_limits

Floats = NDArray[np.float64]

HOURS = (24.0, 48.0, 72.0)
_MOST_NAMED = 3  # reasons that a sentence names


def reason_label(code: str) -> str:
    """Return a reason as the report prints it."""
    return "reason not recorded" if code == "not_recorded" else words_of(code)


def dwell_numbers(period: str, removal: RemovalResult) -> tuple[Number, ...]:
    """Return the printed figures of a period: the median, and all of the table."""
    found = [
        median_number(f"dwell/{period}/median", removal.groups[0]),
        Number(f"dwell/{period}/midpoints", removal.midpoints, "removals"),
    ]
    found += [Number(f"lost/{period}/{r}", hours, "hours") for r, hours in _lost(removal)]
    for state in _states(removal):
        of = f"dwell/{period}/in-place" if state.reason is None else _of(period, state.reason)
        for i, hour in enumerate(HOURS):
            found.append(_number(f"{of}/{hour:g}", state, i))
    return tuple(found)


def _of(period: str, reason: str) -> str:
    return f"removal/{period}/{reason}"


def median_number(name: str, group: RemovalGroup) -> Number:
    """Return a group's median time in place, with its limits."""
    median = group.time.median
    return Number(
        name,
        median.hours,
        "hours",
        denominator=group.counts.episodes,
        lower=median.lower,
        upper=median.upper,
    )


@dataclass(frozen=True, slots=True)
class _State:
    """Still in place (`reason` None, with numbers) or out for a reason, per 100 at 3 hours."""

    reason: str | None
    value: Floats
    lower: Floats
    upper: Floats
    n: tuple[int | None, ...]

    @property
    def label(self) -> str:
        return "still in place" if self.reason is None else reason_label(self.reason)


def _states(removal: RemovalResult) -> list[_State]:
    (group,) = removal.groups
    still, at = group.time.at(HOURS), group.reasons.at(HOURS)
    in_place = (100 * still.estimate, 100 * still.lower, 100 * still.upper)
    found = [_State(None, *in_place, tuple(still.n.tolist()))]
    none = (None,) * len(HOURS)
    for j, reason in enumerate(at.reasons):
        value, lower, upper = (100 * curve[:, j] for curve in (at.incidence, at.lower, at.upper))
        found.append(_State(reason, value, lower, upper, none))
    return found


def _number(name: str, state: _State, i: int) -> Number:
    value, lower, upper = float(state.value[i]), float(state.lower[i]), float(state.upper[i])
    unit = "per 100 catheters"
    return Number(name, value, unit, numerator=state.n[i], lower=lower, upper=upper)


def dwell_sentences(
    period: str, now: RemovalResult, before: RemovalResult | None
) -> list[Sentence]:
    """Say how long catheters stayed, what share was out early and why.

    Parameters
    ----------
    period : str
        The quarter.
    now, before : RemovalResult
        The quarter, and the four quarters before it together.
    """
    found = [_median_sentence(period, now, before)]
    reasons = _reason_sentence(period, now)
    if reasons is not None:
        found.append(reasons)
    lost = _lost_sentence(period, now)
    if lost is not None:
        found.append(lost)
    if now.midpoints:
        text = (
            f"For {words.count(now.midpoints, 'removal')} only an interval is known; "
            f"{'it' if now.midpoints == 1 else 'each'} counts at the middle of its interval."
        )
        found.append(Sentence(text, (f"dwell/{period}/midpoints",)))
    return found


def _median_sentence(period: str, now: RemovalResult, before: RemovalResult | None) -> Sentence:
    ids = [f"dwell/{period}/median"]
    median = now.groups[0].time.median
    if not math.isfinite(median.hours):
        return Sentence("Fewer than half of the catheters are known to be out.", tuple(ids))
    text = f"Half of the catheters were out by {_hours(median)}"
    if before is not None:
        earlier = before.groups[0].time.median
        if math.isfinite(earlier.hours):
            text += f"; in the year before, by {figure(earlier.hours, 3)} h"
            ids.append("dwell/year-before/median")
    return Sentence(f"{text}.", tuple(ids))


def _hours(quantile: Quantile) -> str:
    limits = f"{figure(quantile.lower, 3)} to {figure(quantile.upper, 3)}"
    return f"{figure(quantile.hours, 3)} h (95% limits {limits} h)"


def _reason_sentence(period: str, now: RemovalResult) -> Sentence | None:
    shares = {
        state.reason: float(state.value[-1])
        for state in _states(now)
        if state.reason is not None and state.value[-1] > 0
    }
    early = sorted((r for r in shares if r != "completed"), key=lambda r: (-shares[r], r))
    if not early:
        return None
    named = early[:_MOST_NAMED]
    parts = [f"{reason_label(reason)} {figure(shares[reason])}" for reason in named]
    text = (
        f"By {HOURS[-1]:g} h the most frequent reasons of removal other than a completed course "
        f"were, per 100 catheters: {words.joined(parts)}."
    )
    return Sentence(text, tuple(f"{_of(period, reason)}/{HOURS[-1]:g}" for reason in named))


def _lost(now: RemovalResult) -> list[tuple[str, float]]:
    """Return mean hours lost to each reason but a completed course, the most first."""
    lost = now.groups[0].lost
    if lost is None:
        return []
    hours = zip(lost.reasons, lost.hours.tolist(), strict=True)
    early = [(reason, lost_h) for reason, lost_h in hours if reason != "completed" and lost_h > 0]
    return sorted(early, key=lambda one: (-one[1], one[0]))


def _lost_sentence(period: str, now: RemovalResult) -> Sentence | None:
    named = _lost(now)[:_MOST_NAMED]
    lost = now.groups[0].lost
    if not named or lost is None:
        return None
    (reason, hours), *others = [(noun_of(reason), figure(hours)) for reason, hours in named]
    said = words.joined([f"{hours} h are lost to {reason}", *(f"{h} h to {r}" for r, h in others)])
    ids = tuple(f"lost/{period}/{reason}" for reason, _ in named)
    return Sentence(f"Of {lost.until_h:g} h, on average {said}.", ids)


def dwell_figures(now: RemovalResult, by_course: RemovalResult, page: Page) -> str:
    """Draw time in place, apart for each planned course, and the reasons of early removal."""
    drawn = (
        ("time-in-place", by_course.figure("time-in-place")),
        ("reasons", now.figure("reasons")),
    )
    return block("pair", *(block("one", *page.figure(*one)) for one in drawn))


def _by_intervals(now: RemovalResult) -> tuple[float, float, float] | None:
    """Return still in place at 72 h by the intervals, per 100, with limits."""
    if (check := now.check) is None or HOURS[-1] not in check.hours:
        return None
    i = check.hours.tolist().index(HOURS[-1])
    return 100 * float(check.estimate[i]), 100 * float(check.lower[i]), 100 * float(check.upper[i])


def interval_numbers(period: str, now: RemovalResult) -> list[Number]:
    """Return still in place at 72 h by the intervals themselves; none where all are exact."""
    if (found := _by_intervals(now)) is None:
        return []
    value, lower, upper = found
    name = f"dwell/{period}/intervals/{HOURS[-1]:g}"
    return [Number(name, value, "per 100 catheters", lower=lower, upper=upper)]


def interval_sentences(period: str, now: RemovalResult) -> list[Sentence]:
    """Set the estimate from intervals beside that of their middles."""
    if (found := _by_intervals(now)) is None:
        return []
    middle = 100 * float(now.groups[0].time.at([HOURS[-1]]).estimate[0])
    text = (
        "Estimated from the intervals themselves and not from their middles, "
        f"{with_limits(*found)} of 100 catheters are still in place at {HOURS[-1]:g} h; with the "
        f"middles, {figure(middle)}."
    )
    ids = (f"dwell/{period}/intervals/{HOURS[-1]:g}", f"dwell/{period}/in-place/{HOURS[-1]:g}")
    return [Sentence(text, ids)]


def planned_end(by_course: RemovalResult, page: Page) -> list[str]:
    """Draw the planned courses laid together at their planned end."""
    name = "planned-end"
    return page.figure(name, by_course.figure(name)) if name in by_course.figures else []


def dwell_table(period: str, now: RemovalResult) -> str:
    """Return still in place and each reason at 24, 48 and 72 h, with limits."""
    columns = [
        TableColumn("State", 26),
        *(TableColumn(f"{h:g} h", 20, is_number=True) for h in HOURS),
    ]
    rows = [[markdown.prose(cell) for cell in row] for row in _rows(now)]
    caption = (
        f"Still in place and removed by reason, per 100 catheters with 95% limits, "
        f"{words.quarter(period)}"
    )
    return markdown.table(columns, rows, caption)


def _rows(now: RemovalResult) -> list[list[str]]:
    states = _states(now)
    return [
        ["Catheters still in place", *(f"{n:,}" for n in states[0].n)],
        *([words.sentence_case(state.label), *_cells(state)] for state in states),
    ]


def _cells(state: _State) -> list[str]:
    return [_cell(*row) for row in zip(state.value, state.lower, state.upper, strict=True)]


def _cell(value: float, lower: float, upper: float) -> str:
    if not math.isfinite(value):
        return "not reached"
    return with_limits(value, lower, upper)


def dwell_sheet(period: str, now: RemovalResult) -> Sheet:
    """Return the same table for the workbook, as numbers."""
    columns = ("Period", "What", "Hour", "Per 100 catheters", "Lower 95%", "Upper 95%", "At risk")
    rows: list[tuple[str | float | int | None, ...]] = []
    for state in _states(now):
        figures = zip(HOURS, state.value, state.lower, state.upper, state.n, strict=True)
        for hour, *limits, n in figures:
            rows.append((period, state.label, hour, *map(float, limits), n))
    return Sheet("Removal", columns, tuple(rows))


def grace_numbers(period: str, grace: Sequence[EarlyWithin]) -> list[Number]:
    """Return the share removed early for each number of hours of grace."""
    return [
        Number(
            f"early/{period}/{one.grace_h}", 100 * one.removed_early / one.catheters,
            "per 100 catheters", one.removed_early, one.catheters,
        )
        for one in grace
    ]  # fmt: skip


def grace_sentences(period: str, grace: Sequence[EarlyWithin]) -> list[Sentence]:
    """Say how much the share removed early depends on where early ends."""
    parts = [
        f"{figure(100 * one.removed_early / one.catheters)} where {one.grace_h} h before the "
        "planned end are still in time"
        for one in grace
    ]
    ids = tuple(f"early/{period}/{one.grace_h}" for one in grace)
    return [Sentence(f"Per 100 catheters: {words.joined(parts)}.", ids)] if parts else []
