"""Groups side by side on the measures that lead, and each group's own page."""

from __future__ import annotations

from pipeline.analysis.comparison.compare import GroupRow
from pipeline.answers.comparison import ComparedGroups
from pipeline.report import markdown
from pipeline.report.compare_section import MOST_COLUMNS, anchor, is_too_few
from pipeline.report.markdown import TableColumn, prose
from pipeline.words import numbers as words
from pipeline.words.numbers import amount, chance, ratio, with_limits

_LEFT_OUT = "not adjusted for"


def group_page(compared: ComparedGroups, group: str) -> tuple[str, str]:
    """Return the heading of one group's page, and every measure crude, adjusted and shrunken."""
    columns = (
        TableColumn("Measure (unit)", 30),
        TableColumn("Count", 13, True),
        TableColumn("Rate (95% limits)", 18, True),
        TableColumn("Observed ÷ expected", 18, True),
        TableColumn("Shrunken rate", 18, True),
        TableColumn("Probability above the network", 12, True),
        TableColumn("Note", 22),
    )
    rows = []
    for result in compared.results:
        for row in result.rows:
            if row.group == group:
                measure = result.measure
                title = f"{markdown.text(measure.title)} [({prose(measure.unit)})]{{.unit}}"
                rows.append([title, *map(prose, _group_cells(row))])
    label = compared.label(group)
    heading = f"### {markdown.text(label)} {{#{anchor(group)}}}"
    return heading, markdown.table(columns, rows, f"Every measure, {label}")


def _group_cells(row: GroupRow) -> list[str]:
    # What a model leaves out is said once, in the table of models.
    notes = [part for part in row.note.split("; ") if part and not part.startswith(_LEFT_OUT)]
    note = "; ".join(["called different", *notes] if row.called else notes)
    return [
        f"{amount(row.numerator)} / {amount(row.denominator)}",
        with_limits(row.rate, row.lower, row.upper),
        "too few to tell"
        if is_too_few(row)
        else with_limits(row.ratio, row.ratio_lower, row.ratio_upper, ratio),
        with_limits(row.shrunken, row.shrunken_lower, row.shrunken_upper),
        chance(row.above_network),
        note,
    ]


def leading_table(compared: ComparedGroups) -> str:
    """Return the measures that lead, a row each, with every group's rate in a column."""
    shown = [one for one in compared.results if one.measure.leads]
    groups = compared.groups
    if not shown or len(groups) > MOST_COLUMNS:
        return ""
    columns = [
        TableColumn("Measure (unit)", 28),
        *(TableColumn(compared.label(group), 14, is_number=True) for group in groups),
    ]
    rows = []
    for one in shown:
        cells = {row.group: _rate(row) for row in one.rows}
        title = markdown.text(f"{one.measure.title} ({one.measure.unit})")
        rows.append([title, *(cells.get(group, "none") for group in groups)])
    first, last = (words.month(month) for month in compared.months)
    caption = f"{words.sentence_case(compared.nouns)}, {first} to {last}; bold: called different"
    return markdown.table(columns, rows, caption)


def _rate(row: GroupRow) -> str:
    said = with_limits(row.rate, row.lower, row.upper)
    return f"**{said}**" if row.called else said
