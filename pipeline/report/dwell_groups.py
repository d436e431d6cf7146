"""Time in place and reasons by group: medians, curves and tests."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pipeline.analysis.survival.group_tests import GroupTest
from pipeline.answers.removal import RemovalResult
from pipeline.report import markdown
from pipeline.report.dwell_section import median_number, reason_label
from pipeline.report.markdown import TableColumn
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page
from pipeline.words import numbers as words
from pipeline.words.numbers import figure, p_value


def group_numbers(by_group: RemovalResult) -> list[Number]:
    """Return the median of each group, and the tests between them."""
    found = [median_number(f"dwell/{group.label}/median", group) for group in by_group.groups]
    for test in _all_tests(by_group):
        name = f"test/{test.name}/{test.reason or 'any'}"
        found.append(
            Number(f"{name}/chi-square", test.chi_square, f"{test.degrees} degrees of freedom")
        )
        found.append(Number(f"{name}/p", test.p_value, "probability"))
    return found


def group_sentences(by_group: RemovalResult) -> list[Sentence]:
    """Say the median of each group."""
    known = [g for g in by_group.groups if math.isfinite(g.time.median.hours)]
    parts = [f"{group.label} {figure(group.time.median.hours, 3)} h" for group in known]
    ids = [f"dwell/{group.label}/median" for group in known]
    text = f"Half of the catheters were out by: {words.joined(parts)}." if parts else "No medians."
    return [Sentence(text, tuple(ids))]


def group_pieces(by_group: RemovalResult, page: Page) -> list[str]:
    """Return the groups' curves, the stacked reasons and the table of tests."""
    drawn = [
        piece
        for name in ("time-in-place", "reasons")
        for piece in page.figure(name, by_group.figure(name))
    ]
    return [*drawn, _tests_table(_all_tests(by_group))]


def _all_tests(by_group: RemovalResult) -> Sequence[GroupTest]:
    tests = by_group.tests
    return () if tests is None else (tests.log_rank, *tests.gray)


def _tests_table(tests: Sequence[GroupTest]) -> str:
    columns = (
        TableColumn("Test", 16),
        TableColumn("Of", 30),
        TableColumn("Chi-square", 12, True),
        TableColumn("Degrees of freedom", 12, True),
        TableColumn("p", 12, True),
        TableColumn("Note", 24),
    )
    rows = [
        [
            markdown.prose(test.name),
            markdown.prose(_test_of(test)),
            figure(test.chi_square, 3),
            f"{test.degrees}",
            p_value(test.p_value),
            markdown.prose(test.note),
        ]
        for test in tests
    ]
    caption = "Tests between groups: a small p says that chance alone would rarely do it, not why"
    return markdown.table(columns, rows, caption)


def _test_of(test: GroupTest) -> str:
    return "time in place" if test.reason is None else f"incidence: {reason_label(test.reason)}"
