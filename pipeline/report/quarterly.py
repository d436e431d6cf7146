"""The quarterly report: collected once, then shown section by section.

`reports/quarterly.qmd` calls `quarterly_report` and then one method a section.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.answers.findings import QUARTERS_SHOWN
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.periods import months_of, quarter_before, quarter_of
from pipeline.report import (
    actions_section,
    compare_section,
    dwell_section,
    events_section,
    front,
    grid_section,
    groups_section,
    methods,
    narrative,
    quality_section,
    signals_section,
    tried_section,
)
from pipeline.report.definitions import definitions
from pipeline.report.markdown import show
from pipeline.report.measure_section import chart_numbers, finding_numbers, measure_pieces
from pipeline.report.numbers import Number
from pipeline.report.page import paragraph
from pipeline.report.quarter_results import QuarterResults, collect_quarter
from pipeline.report.second_process import SecondProcess
from pipeline.report.sections import Sections, made_beside

EARLY = "early_removal"


def quarterly_report(
    quarter: str,
    db: str,
    *,
    settings_file: str,
    folder: str = ".",
    beside: SecondProcess | None = None,
) -> QuarterlyReport:
    """Collect a report as `collect_quarter` does and make ready to show it.

    Parameters are those of `collect_quarter`; `folder` is where the files beside the page go,
    and `beside` a second process that was started before, and is started here unless given.
    """

    def make(beside: SecondProcess) -> QuarterlyReport:
        data = collect_quarter(quarter, db, settings_file=settings_file, beside=beside)
        return QuarterlyReport(data, folder, beside=beside)

    return made_beside(make, beside)


class QuarterlyReport(Sections):
    """Shows the sections of this report."""

    name = "quarterly"

    def __init__(
        self,
        collected: QuarterResults,
        folder: Path | str = ".",
        beside: SecondProcess | None = None,
    ) -> None:
        super().__init__(collected.facts, collected.facts.quarter, folder, beside)
        self._data = collected

    def this_quarter(self) -> None:
        """Show page one: what moved, what to decide, what cannot be told."""
        data, quarter = self._data, self._data.facts.quarter
        begun = [c for c in data.changes if quarter_of(c.started_month) == quarter]
        recent = months_of(quarter_before(quarter, QUARTERS_SHOWN - 1))[0]
        standing = tried_section.still_moved(data.tried, recent)
        differ = [one for those in data.compared for one in compare_section.differences(those)]
        changed = narrative.what_changed(
            data.findings, begun, standing, data.tried.labels, differences=differ,
            safety=data.safety,
        )  # fmt: skip
        decide = narrative.to_decide(
            data.findings,
            data.facts.size.set_aside,
            data.settings.min_ascertainment,
            first=[*events_section.to_review(data.events), *narrative.to_look_at(data.safety)],
            groups=[one for those in data.compared for one in compare_section.to_look_into(those)],
            then=actions_section.overdue_sentences(data.actions),
        )
        unknown = narrative.cannot_tell(
            data.findings, data.facts.size.unknown_dwell, data.facts.size.catheters
        )
        for finding in data.findings:
            self._numbers += finding_numbers(finding)
        by_luck = 100 * narrative.watch_by_luck(data.findings)
        self._numbers.append(Number(narrative.BY_LUCK, by_luck, "% of quarters"))
        self._numbers += [
            Number(call.number_id, sum(n for _, n in call.cases), "cases",
                   denominator=call.catheters)
            for call in data.safety
        ]  # fmt: skip
        box = events_section.box_sentences(quarter, data.events)
        self._numbers += events_section.event_numbers(quarter, data.events)
        self._numbers += actions_section.action_numbers(data.actions)
        self._sentences += [*box, *changed, *decide, *unknown]
        self._sheets.append(front.measure_sheet(data.findings))
        show(
            front.facts_strip(data.facts),
            front.safety_box(box),
            front.three_lists(changed, decide, unknown),
        )

    def all_measures(self) -> None:
        """Show the table of all measures."""
        show(front.measure_table(self._data.findings, self._page))

    def all_charts(self) -> None:
        """Show every measure's chart, small, on one page."""
        data = self._data
        note = front.sources_note(data.facts, data.signals_before.sentence)
        show(*grid_section.chart_grid(data.findings, self._page), note)

    def events(self) -> None:
        """Show every serious event."""
        show(*events_section.event_pieces(self._data.events))

    def time_in_place(self) -> None:
        """Show how long catheters stay, and why they come out."""
        data, period = self._data, self._data.facts.quarter
        if data.removal is None or data.removal_by_course is None:
            show("No time in place is known for this quarter.")
            return
        self._numbers += dwell_section.dwell_numbers(period, data.removal)
        if data.removal_before is not None:
            self._numbers += dwell_section.dwell_numbers("year-before", data.removal_before)
        said = dwell_section.dwell_sentences(period, data.removal, data.removal_before)
        self._sentences += said
        self._sheets.append(dwell_section.dwell_sheet(period, data.removal))
        show(paragraph(said))
        show(dwell_section.dwell_figures(data.removal, data.removal_by_course, self._page))

    def side_by_side(self) -> None:
        """Show the sites on the measures that lead."""
        sites = [one for one in self._data.compared if one.by == "site"]
        found = "".join(groups_section.leading_table(one) for one in sites)
        show(found or "There are no two sites to show side by side.")

    def in_short(self) -> None:
        """Show what was tried and the improvement actions with their owners, a row each."""
        show(tried_section.short_table(self._data.tried))
        show(*actions_section.action_pieces(self._data.actions))

    def removal_table(self) -> None:
        """Show still in place and each reason at 24, 48 and 72 h, and against the planned end."""
        data = self._data
        if data.removal is not None and data.removal_by_course is not None:
            period = data.facts.quarter
            said = dwell_section.interval_sentences(period, data.removal)
            self._numbers += dwell_section.interval_numbers(period, data.removal)
            self._sentences += said
            show(dwell_section.dwell_table(period, data.removal), paragraph(said))
            show(*dwell_section.planned_end(data.removal_by_course, self._page))

    def measures(self, *kinds: str) -> None:
        """Show a control chart and sentences for each measure of some kinds."""
        for finding in self._data.findings:
            if finding.measure.kind.value in kinds:
                pieces, said = measure_pieces(finding, self._page)
                self._sentences += said
                self._numbers += chart_numbers(finding.measure.name, finding.chart)
                show(*pieces)
                if finding.measure.name == EARLY:
                    self._grace()

    def _grace(self) -> None:
        """Show the same removals with more and with less grace."""
        quarter, grace = self._data.facts.quarter, self._data.grace
        self._numbers += dwell_section.grace_numbers(quarter, grace)
        said = dwell_section.grace_sentences(quarter, grace)
        self._sentences += said
        show(paragraph(said))

    def groups(self) -> None:
        """Show sites and surgeon types side by side, over the last eight quarters."""
        if not self._data.compared:
            show("There are no two groups to compare yet.")
        for compared in self._data.compared:
            said = compare_section.compare_sentences(compared)
            self._sentences += said
            self._numbers += compare_section.compare_numbers(compared)
            self._sheets.append(compare_section.compare_sheet(compared))
            show(*compare_section.compare_pieces(compared, said, self._page))

    def tried(self) -> None:
        """Show each logged change, before and after."""
        tried = self._data.tried
        self._sentences += tried_section.tried_sentences(tried)
        self._numbers += tried_section.tried_numbers(tried)
        self._sheets.append(tried_section.tried_sheet(tried))
        show(*tried_section.tried_pieces(tried, self._page))

    def data_quality(self) -> None:
        """Show how good the data are, and which signals are new, go on or have ended."""
        data = self._data
        said = quality_section.quality_sentences(data.quality, data.findings)
        provisional = sum(f.now.provisional for f in data.findings)
        self._numbers += quality_section.quality_numbers(data.quality)
        self._numbers.append(Number("measures/provisional", provisional, "measures"))
        self._sentences += said
        self._sheets += quality_section.sheets(data.quality)
        show(paragraph(said), *quality_section.quality_pieces(data.quality, self._page))
        self._signals()

    def _signals(self) -> None:
        rows = signals_section.signal_rows(self._data.findings)
        said = signals_section.signal_sentences(rows, self._data.signals_before)
        self._sentences += said
        self._numbers += signals_section.signal_numbers(rows)
        self._sheets.append(signals_section.signal_sheet(rows))
        show(*signals_section.signal_pieces(rows, said, self._data.signals_before))

    def definitions(self) -> None:
        """Show the definitions, from the measures' cards."""
        targets = {f.measure.name: f.target for f in self._data.findings}
        shown = [f.measure for f in self._data.findings]
        rest = [m for m in load_catalogue().values() if m.name not in targets]
        show(definitions([*shown, *rest], targets))

    def methods(self) -> None:
        """Show the methods, the rules in force, the limitations and the versions."""
        show(*methods.methods_pieces(self._data.findings, self._data.facts))
