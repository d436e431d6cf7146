"""The page of a release, made from its figures alone: no store is opened."""

from __future__ import annotations

import json
from pathlib import Path

from pipeline import __version__
from pipeline.answers.release import Release
from pipeline.answers.released import (
    ToldRate,
    measures_of,
    told_chart,
    told_curves,
    told_rates,
    told_reasons,
)
from pipeline.disclosure.frozen import NETWORK
from pipeline.measures.catalogue import Measure
from pipeline.measures.release_counts import LEADING
from pipeline.report.definitions import CAUTIONS, definitions
from pipeline.report.markdown import TableColumn, bullets, prose, show, table, text
from pipeline.report.numbers import FILE
from pipeline.report.page import Page, block
from pipeline.report.release_words import (
    PROTECTION,
    end_of,
    latest_told,
    leading_sentence,
    size_of,
    span_words,
    spoken,
    told_rate,
    what_is_withheld,
)
from pipeline.report.workbook import FILE as WORKBOOK
from pipeline.report.workbook import Sheet, write_workbook
from pipeline.words.numbers import limits

BLANK = "withheld"
_COLUMNS = (
    TableColumn("Measure", 26),
    TableColumn("Months", 14),
    TableColumn("Counted", 9, is_number=True),
    TableColumn("Of about", 9, is_number=True),
    TableColumn("Rate", 18),
    TableColumn("95% limits", 12),
)


class ReleasePage:
    """Shows the sections of a release in order, and writes the files beside the page.

    Parameters
    ----------
    told : Path or str
        The file that holds the release.
    folder : Path or str
        The document's folder.
    """

    def __init__(self, told: Path | str, folder: Path | str = ".") -> None:
        self._release = Release.of(Path(told).read_text(encoding="utf-8"))
        self._folder = Path(folder)
        self._page = Page(self._folder)
        self._measures = measures_of(self._release)

    def this_quarter(self) -> None:
        """Show what is released, what leads, and every measure in a row."""
        release = self._release
        leading = [m for m in self._measures if m.name in LEADING]
        show(
            prose(
                f"{release.network}: records of catheters placed up to {end_of(release.quarter)}."
            ),
            prose(size_of(release)),
            bullets([prose(leading_sentence(release, measure)) for measure in leading]),
            table(_COLUMNS, [_row(release, m) for m in self._measures], _CAPTION),
            prose(what_is_withheld(release)),
        )

    def charts(self) -> None:
        """Show the control charts, a panel a measure."""
        from pipeline.figures.control_chart import small_multiples

        charts = {m.title: told_chart(self._release, m) for m in self._measures}
        drawn = {title: chart for title, chart in charts.items() if chart is not None}
        if not drawn:
            show(prose("No measure has been told of often enough for a chart."))
            return
        drawing = small_multiples(drawn, "Measures by quarter", common_axes=False)
        show(
            prose(
                "A point is a quarter, or a longer span that can only be told as one and stands "
                "at its end. Centre lines and limits follow from the figures in this release."
            ),
            *self._page.figure("charts", drawing),
        )

    def time_in_place(self) -> None:
        """Show how long catheters stay, and why they come out, year by year."""
        from pipeline.figures.told_curve import told_curve_figure

        curves = told_curves(self._release)
        if not curves:
            show(prose("This is told by year, and no year can be told yet."))
            return
        names = [span_words(curve.first, curve.last) for curve in curves]
        show(*self._page.figure("time-in-place", told_curve_figure(curves, names)))
        rows = [
            [text(spoken(reason)), text(span_words(cell.first, cell.last)), f"{cell.events:,}",
             f"{cell.base:,.0f}", f"{100 * (cell.events or 0) / (cell.base or 1):.1f}%"]
            for reason, cell in told_reasons(self._release)
        ]  # fmt: skip
        if rows:
            caption = "Reasons for removal before the course was complete"
            show(table(_REASON_COLUMNS, rows, caption))

    def groups(self) -> None:
        """Show the groups side by side, a table a measure that can be told of them."""
        family = self._release.comparison
        if family is None:
            show(prose("This release compares no groups."))
            return
        shown = [
            piece
            for measure in self._measures
            if (piece := _group_table(self._release, measure, family))
        ]
        show(
            prose(
                "Groups are in the order of their names and nothing here is a ranking. Figures "
                "are of whole years and not adjusted for which children a group cares for."
            ),
            *(shown or [prose("No group's figures can be told yet.")]),
        )

    def definitions(self) -> None:
        """Show what each measure counts."""
        show(definitions(self._measures, {}))

    def protection(self) -> None:
        """Say how the figures were made safe to pass on."""
        few = self._release.threshold
        show(bullets([prose(sentence.format(few=few, most=few - 1)) for sentence in PROTECTION]))

    def cautions(self) -> None:
        """Show the cautions."""
        show(block("caution", bullets([prose(caution) for caution in CAUTIONS])))

    def finish(self, renderer: str) -> None:
        """Write `numbers.json` and `tables.xlsx`, and say what made the page."""
        release, figures = self._release, self._page.drawn
        whole = release.as_json() | {"figures": figures, "rates": _rates(release, self._measures)}
        (self._folder / FILE).write_text(
            json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
        )
        write_workbook(_sheets(release, self._measures), self._folder / WORKBOOK)
        made = (
            f"Made by dwell {__version__} with {renderer}. Fingerprint {release.fingerprint}: "
            "`dwell release --list` of the service that made it names it."
        )
        files = f"Beside this page: `figures/`, `{WORKBOOK}` and `{FILE}`."
        show(block("note", made, files))


_CAPTION = "Every measure: the latest figure that can be told"
_REASON_COLUMNS = (
    TableColumn("Reason", 24),
    TableColumn("Months", 16),
    TableColumn("Catheters", 10, is_number=True),
    TableColumn("Of about", 10, is_number=True),
    TableColumn("Share", 8, is_number=True),
)


def _row(release: Release, measure: Measure) -> list[str]:
    latest = latest_told(release, measure)
    if latest is None:
        return [text(measure.title), BLANK, "", "", "", ""]
    return [text(measure.title), *_cells(latest)]


def _cells(row: ToldRate) -> list[str]:
    cell = row.cell
    months = text(span_words(cell.first, cell.last))
    if not row.is_told:
        return [months, BLANK, "", "", ""]
    return [
        months,
        f"{cell.events:,}",
        f"{cell.base:,.0f}",
        text(told_rate(row)),
        text(limits(row.lower or 0.0, row.upper or 0.0)),
    ]


def _group_table(release: Release, measure: Measure, family: str) -> str:
    """Return a measure's table of groups in the last years told; empty where there is none."""
    rows = told_rates(release, measure, family)
    last = max((row.cell.last for row in rows if row.is_told), default="")
    shown = [row for row in rows if row.cell.last == last]
    if not shown:
        return ""
    names = release.labels
    body = [
        [text(names.get(row.cell.group, spoken(row.cell.group))), *_cells(row)] for row in shown
    ]
    columns = (TableColumn(spoken(family), 26), *_COLUMNS[1:])
    return table(columns, body, measure.title)


def _rates(release: Release, measures: list[Measure]) -> list[dict[str, object]]:
    """Return every rate with its limits, as `numbers.json` has it."""
    families = [NETWORK, *([release.comparison] if release.comparison else [])]
    return [
        {"measure": m.name, "group": row.cell.group, "first": row.cell.first,
         "last": row.cell.last, "rate": row.rate, "lower": row.lower, "upper": row.upper,
         "unit": m.unit}
        for m in measures for family in families for row in told_rates(release, m, family)
    ]  # fmt: skip


def _sheets(release: Release, measures: list[Measure]) -> list[Sheet]:
    columns = ("measure", "group", "first quarter", "last quarter", "counted", "of about", "rate",
               "lower", "upper", "unit")  # fmt: skip
    note = "Empty cells are withheld. Denominators are rounded."
    sheets = []
    for family in (NETWORK, release.comparison):
        if family is None:
            continue
        rows = tuple(
            (m.title, release.labels.get(row.cell.group, row.cell.group), row.cell.first,
             row.cell.last, row.cell.events, row.cell.base, row.rate, row.lower, row.upper, m.unit)
            for m in measures for row in told_rates(release, m, family)
        )  # fmt: skip
        sheets.append(Sheet("network" if family == NETWORK else family, columns, rows, note))
    return sheets
