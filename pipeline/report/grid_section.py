"""Every measure's chart, small, on one page: where to look, not what to read off."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.answers.findings import Finding
from pipeline.figures.chart_panel import chart_panel
from pipeline.report import markdown
from pipeline.report.front import verdict_cell
from pipeline.report.markdown import prose
from pipeline.report.page import Page, block
from pipeline.words.numbers import month

_HOW_TO_READ = (
    "Each small chart has its own scale. Grey ground: the months that set the middle line and the "
    "limits; dashed: a logged change; dark points: a signal; grey points: one that is past."
)


def chart_grid(findings: Sequence[Finding], page: Page) -> list[str]:
    """Return the panels in the order of the measures, and how to read them."""
    panels = [_panel(finding, page) for finding in findings if len(finding.chart)]
    return [block("grid", *panels), block("note", prose(_span(findings) + _HOW_TO_READ))]


def _span(findings: Sequence[Finding]) -> str:
    periods = [period for finding in findings for period in finding.chart.periods]
    return f"From {month(min(periods))} to {month(max(periods))}. " if periods else ""


def _panel(finding: Finding, page: Page) -> str:
    measure = finding.measure
    name = f"panel-{measure.name.replace('_', '-')}"
    return "\n\n".join(
        [
            "::: {.panel}",
            f"**[{markdown.text(measure.title)}](#{measure.name})**",
            page.small(name, chart_panel(finding.chart, measure.title)),
            prose(verdict_cell(finding)),
            ":::",
        ]
    )
