"""One measure: heading, finding, sentences, control chart."""

from __future__ import annotations

from pipeline.report import markdown
from pipeline.report.findings import Finding
from pipeline.report.narrative import about_measure
from pipeline.report.numbers import Sentence
from pipeline.report.page import Page, paragraph


def measure_pieces(finding: Finding, page: Page) -> tuple[list[str], list[Sentence]]:
    """Return a measure's part of the page, and the sentences in it."""
    measure = finding.measure
    said = about_measure(finding)
    heading = f"### {markdown.text(measure.title)} {{#{measure.name}}}"
    return [heading, paragraph(said)], said
