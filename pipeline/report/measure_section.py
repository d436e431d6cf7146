"""One measure: heading, finding, sentences, control chart."""

from __future__ import annotations

from pipeline.analysis.charts import ControlChart
from pipeline.answers.findings import Finding, Rate
from pipeline.figures.control_chart import control_chart_figure
from pipeline.report import markdown
from pipeline.report.measure_words import about_measure
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, paragraph


def measure_pieces(finding: Finding, page: Page) -> tuple[list[str], list[Sentence]]:
    """Return a measure's part of the page, and the sentences in it."""
    measure = finding.measure
    said = about_measure(finding)
    pieces = [f"### {markdown.text(measure.title)} {{#{measure.name}}}", paragraph(said)]
    title = f"{measure.title}: {finding.verdict.words}"
    drawing = control_chart_figure(finding.chart, measure.title, title=title)
    return [*pieces, page.image(measure.name.replace("_", "-"), drawing)], said


def finding_numbers(finding: Finding) -> tuple[Number, ...]:
    """Return the figures that sentences and tables quote."""
    unit, name = finding.measure.unit, finding.measure.name
    found = [rate_number(f"{name}/{rate.period}", rate, unit) for rate in finding.quarters]
    found.append(rate_number(finding.year_before_id, finding.year_before, unit))
    if finding.is_poorly_known:
        now = finding.now
        found.append(Number(f"{finding.number_id}/if-none", now.if_none, unit))
        found.append(Number(f"{finding.number_id}/if-all", now.if_all, unit))
    if finding.target is not None:
        found.append(Number(f"{name}/target", finding.target, unit))
    if finding.sight is not None:
        found.append(Number(f"{name}/false-watch", finding.sight.false_watch, "probability"))
        found.append(Number(f"{name}/months-to-doubling", finding.months_to_doubling, "months"))
    return tuple(found)


def rate_number(name: str, rate: Rate, unit: str) -> Number:
    """Return a rate as an entry of `numbers.json`."""
    return Number(
        name,
        rate.rate,
        unit,
        rate.numerator,
        rate.denominator,
        rate.lower,
        rate.upper,
        rate.episodes,
        rate.ascertained,
        rate.provisional,
    )


def chart_numbers(name: str, chart: ControlChart) -> tuple[Number, ...]:
    """Return the points of a chart with their control limits, their ids beginning with a name."""
    ids, unit = point_ids(name, chart), chart.unit
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
