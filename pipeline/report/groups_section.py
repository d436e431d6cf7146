"""Dwell curves by group with their tests, and each group's own page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.analysis.comparison.compare import GroupRow
from pipeline.analysis.survival.group_tests import GroupTest
from pipeline.analysis.survival.incidence import Incidence
from pipeline.analysis.survival.time_in_place import AT_RISK_HOURS, TimeInPlace
from pipeline.disclosure import Policy, Readable, withheld_at_risk
from pipeline.figures.incidence import incidence_figure
from pipeline.figures.time_in_place import time_in_place_figure
from pipeline.report import markdown
from pipeline.report.compare_section import Compared, is_too_few, shown_rows
from pipeline.report.dwell_section import reason_label
from pipeline.report.markdown import Column, prose
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page
from pipeline.words import numbers as words
from pipeline.words.numbers import amount, chance, figure, p_value, ratio, with_limits

_LEFT_OUT = "not adjusted for"


@dataclass(frozen=True)
class DwellByGroup:
    """Time in place and reasons by group.

    Attributes
    ----------
    curves, reasons : tuple
        One a group of which enough is known, labelled for print.
    readable : tuple of Readable
        Where each group's curves may be read by this audience.
    left_out : int
        Groups with too few children to show.
    tests : tuple of GroupTest
        Log-rank, then Gray's test of each reason shown.
    """

    curves: tuple[TimeInPlace, ...]
    reasons: tuple[Incidence, ...]
    readable: tuple[Readable, ...]
    left_out: int
    tests: tuple[GroupTest, ...]


def dwell_numbers(dwell: DwellByGroup) -> list[Number]:
    """Return the median of each group, and the tests."""
    found = []
    for curve in dwell.curves:
        median = curve.median
        found.append(
            Number(
                f"dwell/{curve.group}/median",
                median.hours,
                "hours",
                denominator=curve.episodes,
                lower=median.lower,
                upper=median.upper,
            )
        )
    for test in dwell.tests:
        name = f"test/{test.name}/{test.reason or 'any'}"
        found.append(
            Number(f"{name}/chi-square", test.chi_square, f"{test.degrees} degrees of freedom")
        )
        found.append(Number(f"{name}/p", test.p_value, "probability"))
    return found


def dwell_sentences(dwell: DwellByGroup) -> list[Sentence]:
    """Say the median of each group."""
    parts, ids = [], []
    for curve in dwell.curves:
        if math.isfinite(curve.median.hours):
            parts.append(f"{curve.group} {figure(curve.median.hours, 3)} h")
            ids.append(f"dwell/{curve.group}/median")
    text = f"Half of the catheters were out by: {words.joined(parts)}." if parts else "No medians."
    return [Sentence(text, tuple(ids))]


def dwell_pieces(dwell: DwellByGroup, page: Page, policy: Policy) -> list[str]:
    """Return the curves, the stacked reasons and the table of tests."""
    at_risk = np.array([curve.at(AT_RISK_HOURS).n for curve in dwell.curves])
    hidden = withheld_at_risk(policy, at_risk)
    numbers = {
        curve.group: [None if gone else int(n) for n, gone in zip(row, mask, strict=True)]
        for curve, row, mask in zip(dwell.curves, at_risk, hidden, strict=True)
    }
    curves = [may.time(curve) for may, curve in zip(dwell.readable, dwell.curves, strict=True)]
    reasons = [may.incidence(one) for may, one in zip(dwell.readable, dwell.reasons, strict=True)]
    drawings = {
        "time-in-place": time_in_place_figure(curves, numbers=numbers),
        "reasons": incidence_figure(reasons),
    }
    note, pieces = dwell.readable[0].note, list[str]()
    for name, drawing in drawings.items():
        pieces += page.figure(name, replace(drawing, caption=drawing.caption + note))
    if dwell.left_out:
        groups = words.count(dwell.left_out, "group has", "groups have")
        pieces.append(f"{words.sentence_case(groups)} too few children to be drawn.")
    return [*pieces, _tests_table(dwell.tests)]


def _tests_table(tests: Sequence[GroupTest]) -> str:
    columns = (
        Column("Test", 16),
        Column("Of", 30),
        Column("Chi-square", 12, True),
        Column("Degrees of freedom", 12, True),
        Column("p", 12, True),
        Column("Note", 24),
    )
    rows = [
        [
            prose(test.name),
            prose(_of(test)),
            figure(test.chi_square, 3),
            f"{test.degrees}",
            p_value(test.p_value),
            prose(test.note),
        ]
        for test in tests
    ]
    caption = "Tests between groups: a small p says that chance alone would rarely do it, not why"
    return markdown.table(columns, rows, caption, "tests")


def _of(test: GroupTest) -> str:
    return "time in place" if test.reason is None else f"incidence: {reason_label(test.reason)}"


def group_page(compared: Compared, group: str) -> tuple[str, str]:
    """Return the heading of one group's page, and every measure crude, adjusted and shrunken."""
    columns = (
        Column("Measure (unit)", 30),
        Column("Count", 13, True),
        Column("Rate (95% limits)", 18, True),
        Column("Observed ÷ expected", 18, True),
        Column("Shrunken rate", 18, True),
        Column("Probability above the network", 12, True),
        Column("Note", 22),
    )
    rows = []
    for result in compared.results:
        for row, is_hidden in shown_rows(result):
            if row.group == group:
                measure = result.measure
                title = f"{markdown.text(measure.title)} [({prose(measure.unit)})]{{.unit}}"
                rows.append([title, *map(prose, _group_cells(row, is_hidden))])
    label = compared.label(group)
    anchor = compared.anchor(group)
    heading = f"### {markdown.text(label)} {{#{anchor}}}"
    return heading, markdown.table(columns, rows, f"Every measure, {label}", anchor)


def _group_cells(row: GroupRow, is_hidden: bool) -> list[str]:
    if is_hidden:
        return ["withheld"] * 5 + ["few children"]
    # What a model leaves out is said once, in the table of models.
    notes = [part for part in row.note.split("; ") if part and not part.startswith(_LEFT_OUT)]
    note = "; ".join(["called different", *notes] if row.called else notes)
    return [
        f"{amount(row.numerator)} / {amount(row.denominator)}",
        with_limits(row.rate, row.lower, row.upper),
        "too few to tell"
        if is_too_few(row)
        else with_limits(row.ratio, row.ratio_lower, row.ratio_upper, ratio),
        with_limits(row.shrunken, row.shrunken_lower, row.shrunken_upper),
        chance(row.above_network),
        note,
    ]
