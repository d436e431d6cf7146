"""Sites and surgeon types side by side: sentences, one table, funnel plots. No ranking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress

from pipeline.analysis.comparison.compare import GroupRow
from pipeline.answers.comparison import ComparedGroups, MeasureComparison, compare_groups
from pipeline.errors import NoDataError
from pipeline.figures.funnel import funnel_figure
from pipeline.measures.catalogue import Measure, measures_in_force
from pipeline.measures.periods import months_of, quarter_before
from pipeline.report import markdown
from pipeline.report.markdown import TableColumn, slug
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block, item
from pipeline.report.workbook import Sheet
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words import numbers as words
from pipeline.words.numbers import amount, limits, ratio, with_limits

MOST_FUNNELS = 4
FEWEST_FUNNELS = 2  # drawn where nothing is called different
QUARTERS = 8  # one quarter alone is too few to tell sites apart
GROUPINGS = ("site", "surgeon_type")
FEWEST_EXPECTED = 5  # a ratio to fewer than this says nothing; common practice, no source
TOO_FEW = "too few"
MOST_COLUMNS = 12  # groups that a table has room for side by side
MOST_ROWS = 40  # of many groups called different, those that a reader would still look at
MOST_SAID = 7


def months_compared(quarter: str) -> tuple[str, str]:
    """Return the first and last month of the eight quarters up to one."""
    return months_of(quarter_before(quarter, QUARTERS - 1))[0], months_of(quarter)[1]


def by_groups(store: Store, quarter: str, settings: Settings) -> tuple[ComparedGroups, ...]:
    """Return every measure over the last eight quarters, by each grouping.

    The comparison report calls groups among the same measures, so both say the same.
    """
    measures = measures_in_force(settings)
    months, found = months_compared(quarter), []
    for by in GROUPINGS:
        with suppress(NoDataError):
            found.append(compare_groups(store, measures, by=by, months=months, settings=settings))
    return tuple(found)


def anchor(group: str) -> str:
    """Return where a group's own page stands."""
    return f"group-{slug(group)}"


def number_id(by: str, measure: str, group: str) -> str:
    """Id of a group's figure in `numbers.json`."""
    return f"{measure}/{by}/{group}"


def compare_numbers(compared: ComparedGroups) -> list[Number]:
    """Return each group's rate, and its ratio of observed to expected."""
    found = []
    for result in compared.results:
        for row in result.rows:
            name = number_id(compared.by, result.measure.name, row.group)
            found += [
                Number(
                    name, row.rate, result.measure.unit, row.numerator, row.denominator,
                    row.lower, row.upper, row.episodes,
                ),
                Number(
                    f"{name}/ratio", row.ratio, "ratio", row.numerator, row.expected,
                    row.ratio_lower, row.ratio_upper,
                ),
            ]  # fmt: skip
    return found


def compare_sentences(compared: ComparedGroups) -> list[Sentence]:
    """Say which groups differ by more than chance, given the case mix."""
    found = [difference(compared, result, row) for result, row in compared.called]
    more = len(found) - MOST_SAID
    if more > 0:
        text = f"And {words.counted(more, 'further difference')}, in the table below."
        return [*found[:MOST_SAID], Sentence(text)]
    return found or [none_differs(compared)]


def none_differs(compared: ComparedGroups) -> Sentence:
    """Say that no group is called different."""
    return Sentence(
        f"No {compared.noun} is further from the others than one more ordinary one would be, "
        "given the case mix and the number of comparisons."
    )


def difference(compared: ComparedGroups, result: MeasureComparison, row: GroupRow) -> Sentence:
    """Say how a group called different stands to what its case mix would lead one to expect."""
    measure = result.measure
    name = number_id(compared.by, measure.name, row.group)
    text = (
        f"{compared.label(row.group)} had {amount(row.numerator)}; "
        f"{amount(round(row.expected, 1), 1)} would be expected for similar children "
        f"(for the {'worse' if result.is_worse(row) else 'better'}; ratio {ratio(row.ratio)}, "
        f"95% limits {limits(row.ratio_lower, row.ratio_upper, ratio)})."
    )
    return Sentence(text, (name, f"{name}/ratio"), measure.title, measure.name)


def differences(compared: ComparedGroups) -> list[Sentence]:
    """Return a sentence for each group called different, the worse first."""
    called = sorted(compared.called, key=lambda found: not found[0].is_worse(found[1]))
    return [difference(compared, result, row) for result, row in called]


def to_look_into(compared: ComparedGroups) -> list[Sentence]:
    """Return a decision for each group with something called for the worse."""
    worse: dict[str, list[Measure]] = {}
    for result, row in compared.called:
        if result.is_worse(row):
            worse.setdefault(row.group, []).append(result.measure)
    return [_look_into(compared, g, worse[g]) for g in compared.groups if g in worse]


def _look_into(compared: ComparedGroups, group: str, measures: Sequence[Measure]) -> Sentence:
    named = words.joined([words.lower_first(measure.title) for measure in measures])
    return Sentence(
        f"{words.sentence_case(named)}, for the worse. Who looks into it?",
        tuple(number_id(compared.by, measure.name, group) for measure in measures),
        compared.label(group),
        f"by-{slug(compared.by)}",
    )


def ratio_table(compared: ComparedGroups) -> str:
    """Return the ratios of observed to expected, a row a measure and a column a group.

    Of more groups than have room side by side, those called different stand in rows.
    """
    groups = compared.groups
    if len(groups) > MOST_COLUMNS:
        return _called_table(compared)
    columns = [
        TableColumn("Measure", 22),
        *(TableColumn(compared.label(g), 12, True) for g in groups),
    ]
    rows = []
    for result in compared.results:
        cells = {row.group: _cell(row) for row in result.rows}
        title = markdown.text(result.measure.title)
        rows.append([title, *(cells.get(group, "none") for group in groups)])
    caption = (
        f"Observed ÷ expected by {compared.noun}, with 95% limits, "
        f"{words.month(compared.months[0])} to {words.month(compared.months[1])}; 1 is what the "
        "rest of the network would have had with the same case mix; bold: called different; "
        f"too few: fewer than {FEWEST_EXPECTED} events expected, or no upper limit"
    )
    return markdown.table(columns, rows, caption)


def _called_table(compared: ComparedGroups) -> str:
    """Return the groups called different, a row each; all others stand in the workbook."""
    columns = (
        TableColumn("Measure", 30), TableColumn("Group", 22), TableColumn("Observed", 12, True),
        TableColumn("Expected", 12, True), TableColumn("Ratio (95% limits)", 20, True),
    )  # fmt: skip
    called = compared.called
    rows = [
        [
            markdown.text(result.measure.title),
            markdown.text(compared.label(row.group)),
            amount(row.numerator),
            amount(round(row.expected, 1), 1),
            with_limits(row.ratio, row.ratio_lower, row.ratio_upper, ratio),
        ]
        for result, row in called[:MOST_ROWS]
    ]
    more = max(0, len(called) - MOST_ROWS)
    caption = (
        f"Called different among {len(compared.groups):,} {compared.nouns}, observed "
        f"against expected, {words.month(compared.months[0])} to "
        f"{words.month(compared.months[1])}, in the order of measures and names"
        + (f"; the first {MOST_ROWS} of {len(called):,}" if more else "")
        + "; every group stands in tables.xlsx"
    )
    if not rows:
        return f"No group is called different; all {len(compared.groups):,} stand in `tables.xlsx`."
    return markdown.table(columns, rows, caption)


def _cell(row: GroupRow) -> str:
    if not math.isfinite(row.ratio):
        return "none elsewhere"
    if is_too_few(row):
        return TOO_FEW
    said = f"**{ratio(row.ratio)}**" if row.called else ratio(row.ratio)
    return f"{said} [({limits(row.ratio_lower, row.ratio_upper, ratio)})]{{.limits}}"


def is_too_few(row: GroupRow) -> bool:
    """Say whether a ratio rests on a handful of expected events; what is called never does."""
    is_handful = row.expected < FEWEST_EXPECTED or not math.isfinite(row.ratio_upper)
    return is_handful and not row.called


def funnels(compared: ComparedGroups, page: Page, most: int = MOST_FUNNELS) -> list[str]:
    """Draw funnel plots: of the measures with a group called different, else of the first."""
    called = [r for r in compared.results if any(row.called for row in r.rows)]
    chosen = called[:most] or list(compared.results)[:FEWEST_FUNNELS]
    labels, drawn = {group: compared.label(group) for group in compared.groups}, list[str]()
    for result in chosen:
        drawing = funnel_figure(result.comparison, result.measure, labels=labels)
        if drawing is not None:
            name = f"funnel-{compared.by}-{result.measure.name}".replace("_", "-")
            drawn.append(block("one", *page.figure(name, drawing)))
    return [block("figures", *drawn)] if drawn else []


def compare_sheet(compared: ComparedGroups) -> Sheet:
    """Return every group's figures for the workbook."""
    columns = (
        *("Measure", "Group", "Unit", "Episodes", "Numerator", "Denominator", "Rate"),
        *("Lower 95%", "Upper 95%", "Expected", "Ratio", "Ratio lower", "Ratio upper"),
        *("Shrunken", "Shrunken lower", "Shrunken upper", "Probability above network"),
        *("Called different", "Note"),
    )
    rows = [
        (
            *(result.measure.name, compared.label(row.group), result.measure.unit, row.episodes),
            *(row.numerator, row.denominator, row.rate),
            *(row.lower, row.upper, row.expected, row.ratio, row.ratio_lower),
            *(row.ratio_upper, row.shrunken, row.shrunken_lower, row.shrunken_upper),
            *(row.above_network, row.called, row.note),
        )
        for result in compared.results
        for row in result.rows
    ]
    return Sheet(f"By {compared.by.replace('_', ' ')}", columns, tuple(rows))


def compare_pieces(compared: ComparedGroups, said: Sequence[Sentence], page: Page) -> list[str]:
    """Return one grouping's part of the page."""
    title = words.sentence_case(compared.nouns)
    return [
        f"### {title} {{#by-{compared.by.replace('_', '-')}}}",
        markdown.bullets([item(sentence) for sentence in said]),
        *funnels(compared, page),
        ratio_table(compared),
    ]
