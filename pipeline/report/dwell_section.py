"""How long catheters stay and why they come out: sentences, table, figures quoted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.incidence import Incidence
from pipeline.analysis.time_in_place import AT_RISK_HOURS, Quantile, TimeInPlace
from pipeline.disclosure import Policy, withheld_at_risk
from pipeline.figures.incidence import incidence_figure
from pipeline.figures.time_in_place import EVERYONE, time_in_place_figure
from pipeline.report import markdown, words
from pipeline.report.markdown import Column
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page
from pipeline.report.words import figure
from pipeline.report.workbook import Sheet

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
    pooled : tuple of str
        Reasons that stand together under `other_rare`.
    midpoints : int
        Removals known only as an interval, counted at its middle.
    is_withheld : bool
        Too few catheters to show anything.
    """

    time: TimeInPlace
    reasons: Incidence
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
    still = removal.time.at(HOURS)
    at = removal.reasons.at(HOURS)
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
    for i, hour in enumerate(HOURS):
        found.append(_percent(f"dwell/{period}/in-place/{hour:g}", still, i, int(still.n[i])))
        for j, reason in enumerate(at.reasons):
            values = (at.incidence[i, j], at.lower[i, j], at.upper[i, j])
            value, lower, upper = (100 * float(v) for v in values)
            name = f"removal/{period}/{reason}/{hour:g}"
            found.append(Number(name, value, "per 100 catheters", lower=lower, upper=upper))
    return tuple(found)


def _percent(name: str, still: object, i: int, at_risk: int) -> Number:
    value, lower, upper = (
        100 * float(getattr(still, part)[i]) for part in ("estimate", "lower", "upper")
    )
    return Number(name, value, "per 100 catheters", at_risk, None, lower, upper)


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
    at = now.reasons.at([HOURS[-1]])
    shares = {
        reason: 100 * float(at.incidence[0, j])
        for j, reason in enumerate(at.reasons)
        if np.isfinite(at.incidence[0, j]) and at.incidence[0, j] > 0
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
    ids = tuple(f"removal/{period}/{reason}/{HOURS[-1]:g}" for reason in named)
    return Sentence(text, ids)


def numbers_at_risk(now: Removal, policy: Policy) -> list[int | None]:
    """Return the numbers still in place under the plot, None where withheld."""
    numbers = now.time.at(AT_RISK_HOURS).n
    hidden = withheld_at_risk(policy, numbers)[0]
    return [None if gone else int(n) for n, gone in zip(numbers, hidden, strict=True)]


def figures(now: Removal, page: Page, at_risk: Sequence[int | None]) -> list[str]:
    """Draw time in place with the numbers that may be shown, and the stacked reasons."""
    shown = {EVERYONE: at_risk}
    return [
        "### Time in place {#time-in-place}",
        *page.figure("time-in-place", time_in_place_figure([now.time], numbers=shown)),
        "### Reasons of removal {#reasons}",
        *page.figure("reasons", incidence_figure([now.reasons])),
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
    still, at = now.time.at(HOURS), now.reasons.at(HOURS)
    rows = [
        ["Catheters still in place", *(f"{n:,}" for n in still.n)],
        ["Still in place", *_cells(still.estimate, still.lower, still.upper)],
    ]
    for j, reason in enumerate(at.reasons):
        label = words.sentence_case(reason_label(reason))
        rows.append([label, *_cells(at.incidence[:, j], at.lower[:, j], at.upper[:, j])])
    return rows


def _cells(values: Floats, lower: Floats, upper: Floats) -> list[str]:
    return [
        "not reached"
        if not math.isfinite(v)
        else f"{figure(100 * v)} ({figure(100 * lo)} to {figure(100 * hi)})"
        for v, lo, hi in zip(values, lower, upper, strict=True)
    ]


def sheet(period: str, now: Removal) -> Sheet:
    """Return the same table for the workbook, as numbers."""
    columns = ("Period", "What", "Hour", "Per 100 catheters", "Lower 95%", "Upper 95%", "At risk")
    rows: list[tuple[str | float | int | None, ...]] = []
    if not now.is_withheld:
        still, at = now.time.at(HOURS), now.reasons.at(HOURS)
        for i, hour in enumerate(HOURS):
            values = (still.estimate[i], still.lower[i], still.upper[i])
            percent = (100 * float(v) for v in values)
            rows.append((period, "still in place", hour, *percent, int(still.n[i])))
            for j, reason in enumerate(at.reasons):
                values = (at.incidence[i, j], at.lower[i, j], at.upper[i, j])
                percent = (100 * float(v) for v in values)
                rows.append((period, reason_label(reason), hour, *percent, None))
    return Sheet("Removal", columns, tuple(rows))
