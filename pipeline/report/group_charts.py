"""A group's control charts on its own page: small multiples, and the signals that stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from pipeline.analysis.charts import RULES, ControlChart, Signal
from pipeline.analysis.charts.discovery import adjusted_p
from pipeline.analysis.rates.multiplicity import FALSE_DISCOVERY_RATE
from pipeline.figures.control_chart import small_multiples
from pipeline.measures.catalogue import Measure
from pipeline.report.markdown import bullets, prose, slug
from pipeline.report.measure_section import chart_points, point_ids
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block, finding, item, scrolled
from pipeline.words import numbers as words
from pipeline.words.chart import headline

_GAPS = "Where events are rare a point is the gap before an event: higher is fewer events."


@dataclass(frozen=True, eq=False)
class GroupCharts:
    """Control charts of several groups, as they may be drawn.

    Attributes
    ----------
    measures : tuple of Measure
        What is charted.
    charts : mapping of str to mapping of str to ControlChart
        By group, then by the measure's name, for those that may be drawn.
    is_quarterly : bool
        Whether a point is a quarter.
    """

    measures: tuple[Measure, ...]
    charts: Mapping[str, Mapping[str, ControlChart]]
    is_quarterly: bool

    @property
    def looked_at(self) -> int:
        """Charts drawn, of all groups."""
        return sum(len(charts) for charts in self.charts.values())

    @cached_property
    def standing(self) -> Mapping[tuple[str, str], tuple[Signal, ...]]:
        """Return the signals that stand among all charts drawn, by group and measure."""
        found = [
            (group, name, signal)
            for group, charts in self.charts.items()
            for name, chart in charts.items()
            for signal in chart.signals
        ]
        adjusted = adjusted_p([s for *_, s in found], self.looked_at * len(RULES))
        kept: dict[tuple[str, str], tuple[Signal, ...]] = {}
        for (group, name, signal), p in zip(found, adjusted, strict=True):
            if p <= FALSE_DISCOVERY_RATE:
                kept[group, name] = (*kept.get((group, name), ()), signal)
        return kept


def prefix(by: str, measure: str, group: str) -> str:
    """Id of a group's chart in `numbers.json`, before the period."""
    return f"{measure}/{by}/{group}"


def numbers(made: GroupCharts, by: str) -> list[Number]:
    """Return the points of every chart, with their control limits."""
    return [
        number
        for group, charts in made.charts.items()
        for name, chart in charts.items()
        for number in chart_points(prefix(by, name, group), chart)
    ]


def sentences(made: GroupCharts, by: str, group: str) -> list[Sentence]:
    """Say which signals of a group stand when every chart drawn is counted."""
    found = []
    for measure in made.measures:
        chart = made.charts[group].get(measure.name)
        signals = made.standing.get((group, measure.name))
        if chart is None or not signals:
            continue
        ids = point_ids(prefix(by, measure.name, group), chart)
        named = sorted({ids[i] for signal in signals for i in signal.points})
        said = headline(chart.with_signals(signals), "").removeprefix(": ")
        text = f"{words.sentence_case(said)}."
        found.append(Sentence(text, tuple(named), measure.title, measure.name))
    return found


def pieces(
    made: GroupCharts, group: str, label: str, said: Sequence[Sentence], page: Page
) -> list[str]:
    """Return the finding, the signals behind it, the charts, and what is not drawn."""
    titles = {measure.name: measure.title for measure in made.measures}
    charts = {titles[name]: chart for name, chart in made.charts[group].items()}
    missing = [title for title in titles.values() if title not in charts]
    note = [block("note", prose(_not_drawn(made, missing)))] if missing else []
    if not charts:
        return note
    title = _finding(label, said, made.looked_at)
    drawing = small_multiples(charts, label, title=title, common_axes=False)
    if any(chart.is_of_gaps for chart in charts.values()):
        drawing = replace(drawing, caption=f"{drawing.caption} {_GAPS}")
    return [
        finding(title),
        *([bullets([item(sentence) for sentence in said])] if said else []),
        scrolled(page.image(f"charts-{slug(group)}", drawing), f"Control charts, {label}"),
        *note,
    ]


def _finding(label: str, said: Sequence[Sentence], looked_at: int) -> str:
    charts = words.count(looked_at, "chart")
    if not said:
        return f"{label}: no outcome moved beyond chance, with all {charts} of this section counted"
    named = _named([sentence.subject for sentence in said])
    return f"{label}: beyond chance in {named}, with all {charts} of this section counted"


def _not_drawn(made: GroupCharts, titles: Sequence[str]) -> str:
    if not made.is_quarterly:
        return f"Too few events for a control chart: {_named(titles)}."
    why = "not drawn in this copy, because some of their quarters have few children"
    if len(titles) == len(made.measures):
        return f"Control charts of the outcomes are {why}."
    return f"Control charts {why}: {_named(titles)}."


def _named(titles: Sequence[str]) -> str:
    return words.joined([words.lower_first(title) for title in titles])
