"""Sites and surgeon types side by side: sentences, one table, funnel plots. No ranking."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.analysis.comparison.compare import GroupRow
from pipeline.figures.funnel import funnel_figure
from pipeline.measures.catalogue import Better, Measure
from pipeline.measures.dimensions import DIMENSIONS
from pipeline.report import markdown
from pipeline.report.gather_compare import MeasureComparison
from pipeline.report.markdown import Column, slug
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block, item
from pipeline.report.workbook import Sheet
from pipeline.words import numbers as words
from pipeline.words.codes import words_of
from pipeline.words.numbers import amount, limits, ratio, with_limits

MOST_FUNNELS = 4
FEWEST_FUNNELS = 2  # drawn where nothing is called different
WITHHELD = "withheld"
MOST_CHARTED = 24  # groups with control charts of their own; nobody reads more pages
FEWEST_EXPECTED = 5  # a ratio to fewer than this says nothing; common practice, no source
TOO_FEW = "too few"
MOST_COLUMNS = 12  # groups that a table has room for side by side
MOST_ROWS = 40  # of many groups called different, those that a reader would still look at
MOST_SAID = 7


@dataclass(frozen=True)
class Compared:
    """Every measure by one grouping.

    Attributes
    ----------
    by : str
        What makes the groups.
    results : tuple of MeasureComparison
        One a measure, groups by name.
    labels : mapping of str to str
        What is printed for a group.
    months : tuple of str
        First and last month asked for.
    """

    by: str
    results: tuple[MeasureComparison, ...]
    labels: Mapping[str, str]
    months: tuple[str, str]

    @property
    def noun(self) -> str:
        """What a group is called, such as "surgeon type"."""
        return DIMENSIONS[self.by].title

    @property
    def nouns(self) -> str:
        """What several groups are called."""
        return DIMENSIONS[self.by].plural

    @property
    def groups(self) -> list[str]:
        """Codes of all groups, by name."""
        found = {row.group for result in self.results for row in result.comparison.rows}
        return sorted(found, key=self.label)

    @property
    def charted(self) -> list[str]:
        """Groups whose control charts are drawn: all, or of very many those called different."""
        groups = self.groups
        if len(groups) <= MOST_CHARTED:
            return groups
        called = {row.group for _, row in called_rows(self)}
        return [group for group in groups if group in called][:MOST_CHARTED]

    def anchor(self, group: str) -> str:
        """Return where a group's own page stands."""
        return f"group-{slug(group)}"

    def label(self, group: str) -> str:
        """Return what is printed for a group."""
        return self.labels.get(group, words.sentence_case(words_of(group)))


def shown_rows(result: MeasureComparison) -> list[tuple[GroupRow, bool]]:
    """Return each row and whether its figures are withheld."""
    return list(zip(result.comparison.rows, map(bool, result.withheld.figures), strict=True))


def number_id(by: str, measure: str, group: str) -> str:
    """Id of a group's figure in `numbers.json`."""
    return f"{measure}/{by}/{group}"


def numbers(compared: Compared) -> list[Number]:
    """Return each group's rate, and its ratio of observed to expected."""
    found = []
    for result in compared.results:
        unit = result.measure.unit
        for row, is_hidden in shown_rows(result):
            name = number_id(compared.by, result.measure.name, row.group)
            if is_hidden:
                found.append(Number(name, None, unit, withheld=True))
                found.append(Number(f"{name}/ratio", None, "ratio", withheld=True))
                continue
            found.append(
                Number(
                    name, row.rate, unit, row.numerator, row.denominator, row.lower, row.upper,
                    row.episodes,
                )
            )  # fmt: skip
            found.append(
                Number(
                    f"{name}/ratio", row.ratio, "ratio", row.numerator, row.expected,
                    row.ratio_lower, row.ratio_upper,
                )
            )  # fmt: skip
    return found


def called_rows(compared: Compared) -> list[tuple[Measure, GroupRow]]:
    """Return the groups called different that may be shown, measure by measure."""
    return [
        (result.measure, row)
        for result in compared.results
        for row, is_hidden in shown_rows(result)
        if row.called and not is_hidden
    ]


def is_worse(measure: Measure, row: GroupRow) -> bool:
    """Whether a group's ratio lies on the worse side of one for this measure."""
    return (row.ratio > 1) == (measure.better is Better.LOWER)


def sentences(compared: Compared) -> list[Sentence]:
    """Say which groups differ by more than chance, given the case mix."""
    found = [difference(compared, measure, row) for measure, row in called_rows(compared)]
    more = len(found) - MOST_SAID
    if more > 0:
        text = f"And {words.counted(more, 'further difference')}, in the table below."
        return [*found[:MOST_SAID], Sentence(text)]
    return found or [none_differs(compared)]


def none_differs(compared: Compared) -> Sentence:
    """Say that no group is called different."""
    return Sentence(
        f"No difference between {compared.nouns} is larger than chance alone would bring, "
        "given the case mix and the number of comparisons."
    )


def difference(compared: Compared, measure: Measure, row: GroupRow) -> Sentence:
    """Say how a group called different stands to what its case mix would lead one to expect."""
    name = number_id(compared.by, measure.name, row.group)
    more = "more" if row.ratio > 1 else "fewer"
    text = (
        f"{compared.label(row.group)} counted {amount(row.numerator)}, {more} than the "
        f"{amount(round(row.expected, 1), 1)} that its case mix would lead one to expect "
        f"(for the {'worse' if is_worse(measure, row) else 'better'}; ratio {ratio(row.ratio)}, "
        f"95% limits {limits(row.ratio_lower, row.ratio_upper, ratio)})."
    )
    return Sentence(text, (name, f"{name}/ratio"), measure.title, measure.name)


def ratio_table(compared: Compared) -> str:
    """Return the ratios of observed to expected, a row a measure and a column a group.

    Of more groups than have room side by side, those called different stand in rows.
    """
    groups = compared.groups
    if len(groups) > MOST_COLUMNS:
        return _called_table(compared)
    columns = [Column("Measure", 22), *(Column(compared.label(g), 12, True) for g in groups)]
    rows = []
    for result in compared.results:
        cells = {row.group: _cell(row, is_hidden) for row, is_hidden in shown_rows(result)}
        title = markdown.text(result.measure.title)
        rows.append([title, *(cells.get(group, "none") for group in groups)])
    caption = (
        f"Observed ÷ expected by {compared.noun}, with 95% limits, "
        f"{words.month(compared.months[0])} to {words.month(compared.months[1])}; 1 is what the "
        "rest of the network would have had with the same case mix; bold: called different; "
        f"too few: fewer than {FEWEST_EXPECTED} events expected, or no upper limit"
    )
    return markdown.table(columns, rows, caption, f"ratios-{compared.by.replace('_', '-')}")


def _called_table(compared: Compared) -> str:
    """Return the groups called different, a row each; all others stand in the workbook."""
    columns = (
        Column("Measure", 30), Column("Group", 22), Column("Observed", 12, True),
        Column("Expected", 12, True), Column("Ratio (95% limits)", 20, True),
    )  # fmt: skip
    called = called_rows(compared)
    rows = [
        [
            markdown.text(measure.title),
            markdown.text(compared.label(row.group)),
            amount(row.numerator),
            amount(round(row.expected, 1), 1),
            with_limits(row.ratio, row.ratio_lower, row.ratio_upper, ratio),
        ]
        for measure, row in called[:MOST_ROWS]
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
    return markdown.table(columns, rows, caption, f"ratios-{compared.by.replace('_', '-')}")


def _cell(row: GroupRow, is_hidden: bool) -> str:
    if is_hidden:
        return WITHHELD
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


def funnels(compared: Compared, page: Page, most: int = MOST_FUNNELS) -> list[str]:
    """Draw funnel plots: of the measures with a group called different, else of the first."""
    called = [r for r in compared.results if any(row.called for row in r.comparison.rows)]
    chosen = called[:most] or list(compared.results)[:FEWEST_FUNNELS]
    drawn: list[str] = []
    for result in chosen:
        drawing = funnel_figure(
            result.comparison, result.measure, result.withheld.figures, labels=_labels(compared)
        )
        if drawing is not None:
            name = f"funnel-{compared.by}-{result.measure.name}".replace("_", "-")
            drawn.append(block("one", *page.figure(name, drawing)))
    return [block("figures", *drawn)] if drawn else []


def _labels(compared: Compared) -> dict[str, str]:
    return {group: compared.label(group) for group in compared.groups}


def sheet(compared: Compared) -> Sheet:
    """Return every group's figures for the workbook; withheld ones blank."""
    columns = (
        *("Measure", "Group", "Unit", "Episodes", "Numerator", "Denominator", "Rate"),
        *("Lower 95%", "Upper 95%", "Expected", "Ratio", "Ratio lower", "Ratio upper"),
        *("Shrunken", "Shrunken lower", "Shrunken upper", "Probability above network"),
        *("Called different", "Note"),
    )
    rows = []
    for result in compared.results:
        hidden = map(bool, result.withheld.episodes)
        for (row, is_hidden), few in zip(shown_rows(result), hidden, strict=True):
            label, unit = compared.label(row.group), result.measure.unit
            head = (result.measure.name, label, unit, None if few else row.episodes)
            figures = (
                *(row.numerator, None if few else row.denominator, row.rate),
                *(row.lower, row.upper, row.expected, row.ratio, row.ratio_lower),
                *(row.ratio_upper, row.shrunken, row.shrunken_lower, row.shrunken_upper),
                *(row.above_network, row.called, row.note),
            )
            rows.append(
                (*head, *([None] * (len(figures) - 1) + [WITHHELD] if is_hidden else figures))
            )
    return Sheet(f"By {compared.by.replace('_', ' ')}", columns, tuple(rows))


def pieces(compared: Compared, said: Sequence[Sentence], page: Page) -> list[str]:
    """Return one grouping's part of the page."""
    title = words.sentence_case(compared.nouns)
    return [
        f"### {title} {{#by-{compared.by.replace('_', '-')}}}",
        markdown.bullets([item(sentence) for sentence in said]),
        *funnels(compared, page),
        ratio_table(compared),
    ]
