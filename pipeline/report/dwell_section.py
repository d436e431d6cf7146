"""How long catheters stay and why they come out: sentences, table, figures quoted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.survival.incidence import Incidence
from pipeline.analysis.survival.time_in_place import AT_RISK_HOURS, Quantile, TimeInPlace
from pipeline.disclosure import WITHHELD, Policy, Readable, withheld_at_risk
from pipeline.figures.incidence import incidence_figure
from pipeline.figures.look import Drawing
from pipeline.figures.time_in_place import EVERYONE, time_in_place_figure
from pipeline.report import markdown
from pipeline.report.markdown import Column
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page
from pipeline.report.workbook import Sheet
from pipeline.words import numbers as words
from pipeline.words.numbers import figure

Floats = NDArray[np.float64]

HOURS = (24.0, 48.0, 72.0)
_MOST_NAMED = 3  # reasons that a sentence names


@dataclass(frozen=True, slots=True)
class Removal:
    """Time in place and reasons of removal of one period.

    Attributes
    ----------
    time : TimeInPlace
        Kaplan-Meier estimate.
    reasons : Incidence
        Aalen-Johansen estimate; reasons too rare to show are pooled.
    readable : Readable
        Where both may be read by this audience.
    n_withheld : bool array, shape (3,)
        Numbers still in place that are withheld at 24, 48 and 72 h.
    pooled : tuple of str
        Reasons that stand together under `other_rare`.
    midpoints : int
        Removals known only as an interval, counted at its middle.
    is_withheld : bool
        Too few catheters to show anything.
    """

    time: TimeInPlace
    reasons: Incidence
    readable: Readable
    n_withheld: NDArray[np.bool_]
    pooled: tuple[str, ...] = ()
    midpoints: int = 0
    is_withheld: bool = False


def reason_label(code: str) -> str:
    """Return a reason as the report prints it."""
    return {"not_recorded": "reason not recorded", "rare": "rare reasons together"}.get(
        code, code.replace("_", " ")
    )


def numbers(period: str, removal: Removal) -> tuple[Number, ...]:
    """Return the printed figures of a period: the median, and all of the table."""
    if removal.is_withheld:
        return (Number(f"dwell/{period}/median", None, "hours", withheld=True),)
    median = removal.time.median
    found = [
        Number(
            f"dwell/{period}/median",
            median.hours,
            "hours",
            denominator=removal.time.episodes,
            lower=median.lower,
            upper=median.upper,
        ),
        Number(f"dwell/{period}/midpoints", removal.midpoints, "removals"),
    ]
    for state in _states(removal):
        of = f"dwell/{period}/in-place" if state.reason is None else _of(period, state.reason)
        for i, hour in enumerate(HOURS):
            found.append(_number(f"{of}/{hour:g}", state, i))
    return tuple(found)


def _of(period: str, reason: str) -> str:
    return f"removal/{period}/{reason}"


@dataclass(frozen=True, slots=True)
class _State:
    """Still in place (`reason` None, with numbers) or out for a reason, per 100 at 3 hours."""

    reason: str | None
    value: Floats
    lower: Floats
    upper: Floats
    may: NDArray[np.bool_]
    n: tuple[int | None, ...]

    @property
    def label(self) -> str:
        return "still in place" if self.reason is None else reason_label(self.reason)


def _states(removal: Removal) -> list[_State]:
    still, at = removal.time.at(HOURS), removal.reasons.at(HOURS)
    may, may_reasons = removal.readable.at(HOURS)
    n = [None if gone else int(n) for n, gone in zip(still.n, removal.n_withheld, strict=True)]
    none = (None,) * len(HOURS)
    in_place = (100 * still.estimate, 100 * still.lower, 100 * still.upper)
    found = [_State(None, *in_place, may, tuple(n))]
    for j, reason in enumerate(at.reasons):
        value, lower, upper = (100 * curve[:, j] for curve in (at.incidence, at.lower, at.upper))
        found.append(_State(reason, value, lower, upper, may_reasons[:, j], none))
    return found


def _number(name: str, state: _State, i: int) -> Number:
    unit = "per 100 catheters"
    if not state.may[i]:
        return Number(name, None, unit, numerator=state.n[i], withheld=True)
    value, lower, upper = float(state.value[i]), float(state.lower[i]), float(state.upper[i])
    return Number(name, value, unit, numerator=state.n[i], lower=lower, upper=upper)


def sentences(period: str, now: Removal, before: Removal | None) -> list[Sentence]:
    """Say how long catheters stayed, what share was out early and why.

    Parameters
    ----------
    period : str
        The quarter.
    now, before : Removal
        The quarter, and the four quarters before it together.
    """
    if now.is_withheld:
        return [Sentence("Withheld, because the number of children is small.")]
    found = [_median_sentence(period, now, before)]
    reasons = _reason_sentence(period, now)
    if reasons is not None:
        found.append(reasons)
    if now.midpoints:
        text = (
            f"For {words.count(now.midpoints, 'removal')} only an interval is known; "
            f"{'it' if now.midpoints == 1 else 'each'} counts at the middle of its interval."
        )
        found.append(Sentence(text, (f"dwell/{period}/midpoints",)))
    return found


def _median_sentence(period: str, now: Removal, before: Removal | None) -> Sentence:
    ids = [f"dwell/{period}/median"]
    median = now.time.median
    if not math.isfinite(median.hours):
        return Sentence("Fewer than half of the catheters are known to be out.", tuple(ids))
    text = f"Half of the catheters were out by {_hours(median)}"
    if before is not None and not before.is_withheld:
        earlier = before.time.median
        if math.isfinite(earlier.hours):
            text += f"; in the year before, by {figure(earlier.hours, 3)} h"
            ids.append("dwell/year-before/median")
    return Sentence(f"{text}.", tuple(ids))


def _hours(quantile: Quantile) -> str:
    limits = f"{figure(quantile.lower, 3)} to {figure(quantile.upper, 3)}"
    return f"{figure(quantile.hours, 3)} h (95% limits {limits} h)"


def _reason_sentence(period: str, now: Removal) -> Sentence | None:
    shares = {
        state.reason: float(state.value[-1])
        for state in _states(now)
        if state.reason is not None and state.may[-1] and state.value[-1] > 0
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


def numbers_at_risk(now: Removal, policy: Policy) -> list[int | None]:
    """Return the numbers still in place under the plot, None where withheld."""
    numbers = now.time.at(AT_RISK_HOURS).n
    hidden = withheld_at_risk(policy, numbers)[0]
    return [None if gone else int(n) for n, gone in zip(numbers, hidden, strict=True)]


def figures(now: Removal, page: Page, at_risk: Sequence[int | None]) -> list[str]:
    """Draw both as they may be read, with the numbers that may be shown."""
    shown = {EVERYONE: at_risk}
    time, reasons = now.readable.time(now.time), now.readable.incidence(now.reasons)

    def noted(drawing: Drawing) -> Drawing:
        return replace(drawing, caption=drawing.caption + now.readable.note)

    return [
        "### Time in place {#time-in-place}",
        *page.figure("time-in-place", noted(time_in_place_figure([time], numbers=shown))),
        "### Reasons of removal {#reasons}",
        *page.figure("reasons", noted(incidence_figure([reasons]))),
    ]


def table(period: str, now: Removal) -> str:
    """Return still in place and each reason at 24, 48 and 72 h, with limits."""
    columns = [Column("State", 26), *(Column(f"{h:g} h", 20, is_number=True) for h in HOURS)]
    rows = [[markdown.prose(cell) for cell in row] for row in _rows(now)]
    caption = (
        f"Still in place and removed by reason, per 100 catheters with 95% limits, "
        f"{words.quarter(period)}"
    )
    return markdown.table(columns, rows, caption, "removal")


def _rows(now: Removal) -> list[list[str]]:
    states = _states(now)
    numbers = (WITHHELD if n is None else f"{n:,}" for n in states[0].n)
    return [
        ["Catheters still in place", *numbers],
        *([words.sentence_case(state.label), *_cells(state)] for state in states),
    ]


def _cells(state: _State) -> list[str]:
    rows = zip(state.value, state.lower, state.upper, state.may, strict=True)
    return [_cell(*limits) if may else WITHHELD for *limits, may in rows]


def _cell(value: float, lower: float, upper: float) -> str:
    if not math.isfinite(value):
        return "not reached"
    return f"{figure(value)} ({figure(lower)} to {figure(upper)})"


def sheet(period: str, now: Removal) -> Sheet:
    """Return the same table for the workbook, as numbers."""
    columns = ("Period", "What", "Hour", "Per 100 catheters", "Lower 95%", "Upper 95%", "At risk")
    rows: list[tuple[str | float | int | None, ...]] = []
    for state in () if now.is_withheld else _states(now):
        figures = zip(HOURS, state.value, state.lower, state.upper, state.n, state.may, strict=True)
        for hour, *limits, n, may in figures:
            percent = [float(v) for v in limits] if may else [None] * len(limits)
            rows.append((period, state.label, hour, *percent, n))
    return Sheet("Removal", columns, tuple(rows))
