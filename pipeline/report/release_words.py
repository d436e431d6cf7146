"""A release in words: its spans, its leading figures, what is withheld and what protects it."""

from __future__ import annotations

from pipeline.answers.release import Release
from pipeline.answers.released import ToldRate, told_chart, told_rates, totals
from pipeline.measures.catalogue import Measure
from pipeline.measures.release_counts import CATHETER_DAYS, CATHETERS
from pipeline.words.chart import headline
from pipeline.words.numbers import figure, joined, lower_first, sentence_case

_MONTHS = {1: "January", 2: "April", 3: "July", 4: "October"}
_ENDS = {1: "March", 2: "June", 3: "September", 4: "December"}
PROTECTION = (
    "A figure is told where it counts no child or at least {few}, and as many without the event "
    "where that could be worked out; what counts fewer in a quarter is told with the rest of its "
    "year, or with several years.",
    "Denominators are rounded, site by site and quarter by quarter: catheters to the nearest ten, "
    "days and calls to the nearest thirty. Every rate and limit follows from the figures shown.",
    "Groups are told of by whole years, and where some are withheld, those together count "
    "at least {few}.",
    "A figure is told once: what was corrected since is not shown, and no later release shows it "
    "for these months.",
    "So nobody with every release and a calculator can work out a count of 1 to {most} children. "
    "This does not hold for somebody who knows a child, or has other records of the same children.",
)


def span_words(first: str, last: str) -> str:
    """Return two quarters as months: "2024", "July to September 2025"."""
    (year, a), (last_year, b) = ((q[:4], int(q[-1])) for q in (first, last))
    if (a, b) == (1, 4):
        return year if year == last_year else f"{year} to {last_year}"
    start = f"{_MONTHS[a]} {year}" if year != last_year else _MONTHS[a]
    return f"{start} to {_ENDS[b]} {last_year}"


def end_of(quarter: str) -> str:
    """Return the last day that a quarter covers, in words."""
    return f"the end of {_ENDS[int(quarter[-1])]} {quarter[:4]}"


def spoken(code: str) -> str:
    """Return a code as a reader would say it."""
    return sentence_case(code.replace("_", " "))


def size_of(release: Release) -> str:
    """Return how many catheters and days the quarter has, rounded as they are told."""
    parts = []
    for item, noun in ((CATHETERS, "catheters"), (CATHETER_DAYS, "catheter-days")):
        found = [c for c in totals(release, item) if c.last == release.quarter]
        parts += [f"about {cell.base:,.0f} {noun} in {span_words(cell.first, cell.last)}"
                  for cell in found]  # fmt: skip
    return f"{sentence_case(joined(parts))}." if parts else "This quarter is told with its year."


def latest_told(release: Release, measure: Measure) -> ToldRate | None:
    """Return the last figure of a measure that is told; None where none is."""
    told = [row for row in told_rates(release, measure) if row.is_told]
    return told[-1] if told else None


def leading_sentence(release: Release, measure: Measure) -> str:
    """Return a measure in a sentence: its last figure told, and what its chart says."""
    latest = latest_told(release, measure)
    if latest is None:
        return f"{measure.title}: cannot be told yet."
    cell = latest.cell
    said = (
        f"{measure.title}: {told_rate(latest)} in {span_words(cell.first, cell.last)} "
        f"({cell.events:,} in about {cell.base:,.0f})"
    )
    chart = told_chart(release, measure)
    verdict = headline(chart, "").lstrip(": ") if chart is not None else ""
    waits = "" if cell.last == release.quarter else "; later quarters are told with their year"
    return f"{said}{'; ' + lower_first(verdict) if verdict else ''}{waits}."


def told_rate(row: ToldRate) -> str:
    """Return a rate with its unit."""
    return f"{figure(row.rate or 0.0)} {row.measure.unit}"


def what_is_withheld(release: Release) -> str:
    """Return how many figures are told and how many withheld, and why."""
    blank = sum(cell.base is None for cell in release.cells)
    return (
        f"{len(release.cells) - blank:,} figures are told here and {blank:,} withheld: they would "
        f"count fewer than {release.threshold} children, wait for the rest of their year, or give "
        "another figure away."
    )
