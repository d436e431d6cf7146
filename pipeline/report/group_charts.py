"""A group's control charts on its own page: small multiples, and the signals that stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.analysis.charts import ControlChart, Signal
from pipeline.answers.chart_series import read_series
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.signals import LookedAt, calls, judged_signals
from pipeline.figures.control_chart import small_multiples
from pipeline.measures.catalogue import Measure
from pipeline.measures.periods import EARLIEST
from pipeline.report.markdown import bullets, prose, slug
from pipeline.report.measure_section import chart_numbers, point_ids
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block, finding, item, scrolled
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words import numbers as words
from pipeline.words.chart import headline

_GAPS = "Where events are rare a point is the gap before an event: higher is fewer events."
FEWEST_EVENTS = 3  # fewer gaps are no chart


@dataclass(frozen=True, eq=False)
class GroupCharts:
    """Control charts of several groups.

    Attributes
    ----------
    measures : tuple of Measure
        What is charted.
    charts : mapping of str to mapping of str to ControlChart
        By group, then by the measure's name, of those with events enough.
    standing_signals : mapping of (str, str) to tuple of Signal
        By measure and group, what is called.
    """

    measures: tuple[Measure, ...]
    charts: Mapping[str, Mapping[str, ControlChart]]
    standing_signals: Mapping[tuple[str, str], tuple[Signal, ...]]

    @property
    def looked_at(self) -> int:
        """Charts drawn, of all groups."""
        return sum(len(charts) for charts in self.charts.values())


def group_charts(
    store: Store,
    measures: Sequence[Measure],
    by: str,
    groups: Sequence[str],
    last_month: str,
    *,
    settings: Settings,
) -> GroupCharts:
    """Chart some measures for some groups, from the first month to the last.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
        What to chart.
    by : str
        The dimension that makes the groups.
    groups : sequence of str
        Codes of the groups to chart.
    last_month : str
        The last month charted.
    settings : Settings
        The programme's settings.
    """
    parts = read_series(store, measures, by=by, months=(EARLIEST, last_month), settings=settings)
    parts = [part for part in parts if part.group in groups]
    drawn = [
        LookedAt(part.measure, part.group, chart)
        for part, chart in zip(parts, draw_charts(parts), strict=True)
        if not chart.is_of_gaps or len(chart) - chart.ends_open >= FEWEST_EVENTS
    ]
    charts: dict[str, dict[str, ControlChart]] = {group: {} for group in groups}
    for one in drawn:
        charts[one.group][one.measure.name] = one.chart
    return GroupCharts(tuple(measures), charts, calls(judged_signals(drawn)))


def prefix(by: str, measure: str, group: str) -> str:
    """Id of a group's chart in `numbers.json`, before the period."""
    return f"{measure}/{by}/{group}"


def group_chart_numbers(made: GroupCharts, by: str) -> list[Number]:
    """Return the points of every chart, with their control limits."""
    return [
        number
        for group, charts in made.charts.items()
        for name, chart in charts.items()
        for number in chart_numbers(prefix(by, name, group), chart)
    ]


def group_chart_sentences(made: GroupCharts, by: str, group: str) -> list[Sentence]:
    """Say which signals of a group stand when every chart drawn is counted."""
    found = []
    for measure in made.measures:
        chart = made.charts[group].get(measure.name)
        signals = made.standing_signals.get((measure.name, group))
        if chart is None or not signals:
            continue
        ids = point_ids(prefix(by, measure.name, group), chart)
        named = sorted({ids[i] for signal in signals for i in signal.points})
        said = headline(chart, "").removeprefix(": ")
        text = f"{words.sentence_case(said)}."
        found.append(Sentence(text, tuple(named), measure.title, measure.name))
    return found


def group_chart_pieces(
    made: GroupCharts, group: str, label: str, said: Sequence[Sentence], page: Page
) -> list[str]:
    """Return the finding, the signals behind it, the charts, and what is not drawn."""
    titles = {measure.name: measure.title for measure in made.measures}
    charts = {titles[name]: chart for name, chart in made.charts[group].items()}
    missing = [title for title in titles.values() if title not in charts]
    note = [block("note", prose(_not_drawn(missing)))] if missing else []
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


def _not_drawn(titles: Sequence[str]) -> str:
    return f"Too few events for a control chart: {_named(titles)}."


def _named(titles: Sequence[str]) -> str:
    return words.joined([words.lower_first(title) for title in titles])
