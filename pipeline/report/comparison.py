"""The comparison report: collected once, then shown section by section.

`reports/comparison.qmd` calls `comparison_report` and then one method a section.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.answers.comparison import ComparedGroups, compare_groups
from pipeline.answers.removal import RemovalResult, removal_result
from pipeline.errors import NoDataError
from pipeline.figures.funnel import funnel_figure
from pipeline.figures.ratios import ratio_figure
from pipeline.measures.catalogue import MeasureKind, measures_in_force
from pipeline.measures.periods import months_of
from pipeline.measures.quarters import check_quarter, latest_quarter
from pipeline.report import (
    compare_front,
    compare_section,
    dwell_groups,
    groups_section,
    methods,
)
from pipeline.report import group_charts as charts_section
from pipeline.report.front import Facts, facts_of
from pipeline.report.group_charts import GroupCharts, group_charts
from pipeline.report.markdown import show, slug, text
from pipeline.report.page import block, paragraph
from pipeline.report.parameters import store_path
from pipeline.report.second_process import SecondProcess
from pipeline.report.sections import Sections, made_beside
from pipeline.settings import load_settings
from pipeline.store import Store, open_store

MOST_CHARTED = 24  # groups with control charts of their own; nobody reads more pages


@dataclass(frozen=True)
class ComparisonResults:
    """All results of a comparison; nothing after this looks into the store.

    Attributes
    ----------
    facts : Facts
        Of the last quarter compared, for the source of the figures.
    compared : ComparedGroups
        Every measure by group.
    dwell : RemovalResult or None
        Time in place and reasons by group.
    charts : GroupCharts
        Control charts of the outcomes, group by group.
    """

    facts: Facts
    compared: ComparedGroups
    dwell: RemovalResult | None
    charts: GroupCharts


def collect_comparison(
    by: str,
    quarter: str,
    db: str,
    *,
    settings_file: str | None = None,
) -> ComparisonResults:
    """Read everything that the comparison up to a quarter is made from.

    Parameters
    ----------
    by : {"site", "surgeon_type"}
        What is compared.
    quarter : str
        The last quarter; the eight up to it are compared. Empty for the latest.
    db : str
        Path of the store.
    settings_file : str, optional
        The programme's settings.

    Raises
    ------
    NoDataError
        There are no two groups to compare, or no episode in the quarter.
    UsageError, StoreError, SettingsError
        As they say.
    """
    settings = load_settings(Path(settings_file) if settings_file else None)
    with open_store(store_path(db)) as store:
        last = quarter or latest_quarter(store)
        check_quarter(store, last)
        compared = compare_groups(
            store,
            measures_in_force(settings),
            by=by,
            months=compare_section.months_compared(last),
            settings=settings,
        )
        return ComparisonResults(
            facts=facts_of(store, last, settings),
            compared=compared,
            dwell=_dwell(store, compared),
            charts=group_charts(
                store,
                [m for m in measures_in_force(settings) if m.kind is MeasureKind.OUTCOME],
                by,
                _charted(compared),
                months_of(last)[1],
                settings=settings,
            ),
        )


def _charted(compared: ComparedGroups) -> list[str]:
    """Return the groups whose charts are drawn: all, or of very many those called different."""
    if len(compared.groups) <= MOST_CHARTED:
        return compared.groups
    called = {row.group for _, row in compared.called}
    return [group for group in compared.groups if group in called][:MOST_CHARTED]


def _dwell(store: Store, compared: ComparedGroups) -> RemovalResult | None:
    first, last = compared.months
    try:
        found = removal_result(store, by=compared.by, first=first, last=last)
    except NoDataError:
        return None
    return found if found.tests is not None else None


def comparison_report(*asked: str, folder: str = ".", **how: str) -> ComparisonReport:
    """Collect a report with the arguments of `collect_comparison`; draw its figures in a folder."""
    return made_beside(
        lambda beside: ComparisonReport(collect_comparison(*asked, **how), folder, beside=beside)
    )


class ComparisonReport(Sections):
    """Shows the sections of this report."""

    name = "comparison"

    def __init__(
        self,
        collected: ComparisonResults,
        folder: Path | str = ".",
        beside: SecondProcess | None = None,
    ) -> None:
        compared = collected.compared
        period = f"{compared.by} to {collected.facts.quarter}"
        super().__init__(collected.facts, period, folder, beside)
        self._data = collected
        self._numbers += compare_section.compare_numbers(compared)
        self._sheets.append(compare_section.compare_sheet(compared))

    def overview(self) -> None:
        """Show what is compared, which groups differ by more than chance, and what to decide."""
        data = self._data
        compared, facts = data.compared, data.facts
        said = (
            compare_front.what_differs(compared),
            compare_front.groups_to_decide(compared),
            compare_front.groups_untold(compared),
        )
        self._sentences += [sentence for those in said for sentence in those]
        show(
            compare_front.strip(compared, facts),
            compare_front.lists(*said),
            compare_section.ratio_table(compared),
            compare_front.comparison_source(facts),
        )

    def measures(self) -> None:
        """Show each measure: its funnel plot, and observed against expected."""
        compared = self._data.compared
        labels = {group: compared.label(group) for group in compared.groups}
        for result in compared.results:
            measure = result.measure
            name = slug(measure.name)
            drawn = [
                block("one", *self._page.figure(f"{kind}-{name}", drawing))
                for kind, make in (("funnel", funnel_figure), ("ratios", ratio_figure))
                if (drawing := make(result.comparison, measure, labels=labels)) is not None
            ]
            show(f"### {text(measure.title)} {{#{measure.name}}}")
            show(block("figures", *drawn) if drawn else "No events to compare.")

    def dwell(self) -> None:
        """Show time in place and reasons by group, with tests."""
        dwell = self._data.dwell
        if dwell is None:
            show("There are no two groups with enough known times in place.")
            return
        said = dwell_groups.group_sentences(dwell)
        self._sentences += said
        self._numbers += dwell_groups.group_numbers(dwell)
        show(paragraph(said), *dwell_groups.group_pieces(dwell, self._page))

    def groups(self) -> None:
        """Show each group's own page."""
        compared, charts = self._data.compared, self._data.charts
        self._numbers += charts_section.group_chart_numbers(charts, compared.by)
        for group in compared.groups:
            heading, table = groups_section.group_page(compared, group)
            if group not in charts.charts:
                show(heading, table)
                continue
            said = charts_section.group_chart_sentences(charts, compared.by, group)
            self._sentences += said
            label = compared.label(group)
            show(
                heading,
                *charts_section.group_chart_pieces(charts, group, label, said, self._page),
                table,
            )

    def methods(self) -> None:
        """Show how groups are compared, the limitations and the versions."""
        show(*methods.comparison_pieces(self._data.compared.results, self._data.facts))
