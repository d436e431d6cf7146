"""One measure: heading, finding, sentences, control chart."""

from __future__ import annotations

from pipeline.analysis.charts import ControlChart
from pipeline.figures.control_chart import control_chart_figure
from pipeline.report import markdown
from pipeline.report.findings import Finding
from pipeline.report.measure_words import about_measure
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block, paragraph
from pipeline.words.chart import unit_of

NOT_DRAWN = (
    "The chart is not drawn in this copy: each of its points would be a small number of children."
)


def measure_pieces(finding: Finding, page: Page) -> tuple[list[str], list[Sentence]]:
    """Return a measure's part of the page, and the sentences in it."""
    measure = finding.measure
    said = about_measure(finding)
    pieces = [f"### {markdown.text(measure.title)} {{#{measure.name}}}", paragraph(said)]
    if finding.shown is None:
        return [*pieces, block("note", NOT_DRAWN)], said
    title = f"{measure.title}: {finding.verdict.words}"
    drawing = control_chart_figure(finding.shown, measure.title, title=title)
    return [*pieces, page.image(measure.name.replace("_", "-"), drawing)], said


def chart_numbers(finding: Finding) -> tuple[Number, ...]:
    """Return the points that are drawn, with their control limits."""
    chart = finding.shown
    return () if chart is None else chart_points(finding.measure.name, chart)


def chart_points(name: str, chart: ControlChart) -> tuple[Number, ...]:
    """Return the points of a chart that may be shown, their ids beginning with a name."""
    ids, unit = point_ids(name, chart), unit_of(chart)
    return tuple(
        Number(
            ids[i],
            float(chart.value[i]),
            unit,
            float(chart.numerator[i]),
            float(chart.denominator[i]),
            float(chart.lower[i]),
            float(chart.upper[i]),
            provisional=bool(chart.provisional[i]),
        )
        for i in range(len(chart))
    )


def point_ids(name: str, chart: ControlChart) -> list[str]:
    """Return an id for each point; events of one month are numbered."""
    seen: dict[str, int] = {}
    ids = []
    for period in chart.periods:
        seen[period] = seen.get(period, 0) + 1
        ids.append(f"{name}/chart/{period}" + (f"/{seen[period]}" if seen[period] > 1 else ""))
    return ids
