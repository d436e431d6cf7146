"""How good the data are: rows, calls that reached the family, what is provisional."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.answers.findings import Finding
from pipeline.figures.completeness import FieldShare, completeness_figure
from pipeline.report import markdown
from pipeline.report.markdown import Column, prose
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page
from pipeline.report.quality import DataQuality, SiteQuality
from pipeline.report.workbook import Sheet
from pipeline.words import numbers as words
from pipeline.words.numbers import count, few, figure

_COUNT = re.compile(r"\b\d[\d,]* ")
MOST_SITES = 20  # that a table or a figure has room for; of more, those of which least is known


def numbers(quality: DataQuality, small_cell: int) -> tuple[Number, ...]:
    """Return the rows as figures; small counts stay out."""
    found = []
    for rows in quality.files:
        found.append(Number(f"rows/{rows.file}/read", rows.read, "rows"))
        is_small = 0 < rows.set_aside < small_cell
        value = None if is_small else rows.set_aside
        found.append(Number(f"rows/{rows.file}/set-aside", value, "rows", withheld=is_small))
    for site in quality.sites:
        share = 100 * site.reached / site.calls if site.calls else None
        name = f"contacts/reached/{site.site}"
        found.append(Number(name, share, "per 100 calls", site.reached, site.calls))
    return tuple(found)


def sentences(quality: DataQuality, findings: Sequence[Finding], small_cell: int) -> list[Sentence]:
    """Say how many rows came in, how many wait, and which measures are provisional."""
    read = sum(rows.read for rows in quality.files)
    aside = sum(rows.set_aside for rows in quality.files)
    found = [
        Sentence(
            f"{count(read, 'row was', 'rows were')} read; "
            f"{few(aside, small_cell)} {'was' if aside == 1 else 'were'} set aside.",
            tuple(
                f"rows/{rows.file}/{what}"
                for rows in quality.files
                for what in ("read", "set-aside")
            ),
        )
    ]
    provisional = sum(f.now.provisional for f in findings)
    if provisional:
        text = (
            f"{count(provisional, 'measure is', 'measures are')} provisional: some catheters "
            "have not had their follow-up time."
        )
        found.append(Sentence(text, ("measures/provisional",)))
    return found


def pieces(quality: DataQuality, page: Page, small_cell: int) -> list[str]:
    """Return the tables and the figure of the section."""
    shown = ["### Rows read, and rows set aside {#rows}", _files_table(quality, small_cell)]
    if quality.waiting:
        shown.append(_waiting_table(quality, small_cell))
    shown += ["### What is known, by site {#known}", *_sites_table(quality, small_cell)]
    if quality.fields:
        fields = least_complete(quality.fields)
        drawing = completeness_figure(fields, with_numbers=small_cell == 0)
        shown += page.figure("completeness", drawing)
        if len(fields) < len(quality.fields):
            shown.append(
                f"The figure shows the {MOST_SITES} of {_number_of_sites(quality.fields):,} sites "
                "with the least complete field, in the order of their names."
            )
    return [
        *shown,
        "### Figures that have moved since they were published {#drift}",
        *_moved(quality, small_cell),
    ]


def _moved(quality: DataQuality, small_cell: int) -> list[str]:
    if not quality.frozen:
        return ["No quarter is kept as published yet; `dwell freeze` keeps one."]
    kept = words.joined(list(quality.frozen))
    if not quality.moved:
        return [prose(f"Every figure kept as published still stands ({kept}).")]
    columns = [Column("Quarter", 10), Column("Measure", 30)]
    if small_cell == 0:
        columns += [Column("Published", 14, True), Column("Now", 14, True)]
    columns.append(Column("Why", 32))
    rows = []
    for figure_ in quality.moved:
        counts = [figure_.published, figure_.now] if small_cell == 0 else []
        why = figure_.why if small_cell == 0 else _COUNT.sub("", figure_.why)
        cells = [figure_.quarter, figure_.title, *counts, why]
        rows.append([prose(cell) for cell in cells])
    caption = "Figures of all sites together that later records changed"
    return [markdown.table(columns, rows, caption, "drift")]


def _files_table(quality: DataQuality, small_cell: int) -> str:
    columns = [Column("File", 20), Column("Rows read", 12, True)]
    if small_cell == 0:
        columns += [Column("Loaded", 12, True), Column("Unchanged", 12, True)]
    columns.append(Column("Set aside", 12, True))
    rows = []
    for row in quality.files:
        cells = [prose(row.file), f"{row.read:,}"]
        if small_cell == 0:
            cells += [f"{row.loaded:,}", f"{row.unchanged:,}"]
        rows.append([*cells, few(row.set_aside, small_cell)])
    return markdown.table(columns, rows, "Rows of all loads", "rows")


def _waiting_table(quality: DataQuality, small_cell: int) -> str:
    columns = (
        Column("File", 14),
        Column("Column", 18),
        Column("Rule", 40),
        Column("Rows", 8, True),
    )
    rows = [
        [
            prose(row.file),
            markdown.text(row.column),
            markdown.text(words.sentence_case(row.rule).rstrip(".")),
            few(row.rows, small_cell),
        ]
        for row in quality.waiting
    ]
    return markdown.table(columns, rows, "Rows that wait for correction", "waiting")


def least_reached(sites: Sequence[SiteQuality]) -> list[SiteQuality]:
    """Return the sites that a table has room for: those whose calls reached the fewest.

    In the order given; chosen by calls, of which none is withheld.
    """
    if len(sites) <= MOST_SITES:
        return list(sites)
    by_reach = sorted(sites, key=lambda s: s.reached / s.calls if s.calls else 0.0)
    chosen = {site.site for site in by_reach[:MOST_SITES]}
    return [site for site in sites if site.site in chosen]


def least_complete(fields: Sequence[FieldShare]) -> list[FieldShare]:
    """Return the fields of the sites that a figure has room for: those with the lowest share."""
    if _number_of_sites(fields) <= MOST_SITES:
        return list(fields)
    lowest: dict[str, float] = {}
    for field in fields:
        share_ = 1.0 if field.share is None else field.share
        lowest[field.site] = min(share_, lowest.get(field.site, 1.0))
    chosen = set(sorted(lowest, key=lambda site: lowest[site])[:MOST_SITES])
    return [field for field in fields if field.site in chosen]


def _number_of_sites(fields: Sequence[FieldShare]) -> int:
    return len({field.site for field in fields})


def _sites_table(quality: DataQuality, small_cell: int) -> list[str]:
    columns = (
        Column("Site", 16),
        Column("Catheters", 10, True),
        Column("Time in place known", 14, True),
        Column("Reason known", 14, True),
        Column("Planned calls", 12, True),
        Column("Reached", 12, True),
    )
    shown = least_reached(quality.sites)
    rows = [
        [
            markdown.text(site.site),
            few(site.catheters, small_cell),
            share(site.dwell_known, site.catheters, small_cell),
            share(site.reason_known, site.removed, small_cell),
            f"{site.calls:,}",
            share(site.reached, site.calls, 0),
        ]
        for site in shown
    ]
    caption = "Completeness of the quarter's records, by site"
    found = [markdown.table(columns, rows, caption, "known")]
    if len(shown) < len(quality.sites):
        found.append(
            f"The table shows the {len(shown)} of {len(quality.sites):,} sites whose calls "
            "reached the fewest, in the order of their names; every site stands in `tables.xlsx`."
        )
    return found


def share(part: int, whole: int, small_cell: int) -> str:
    """Return a percentage; where few are missing or known, only that."""
    if whole == 0:
        return "none"
    if 0 < whole < small_cell or 0 < part < small_cell:
        return "withheld"
    if 0 < whole - part < small_cell:
        return f"all but 1 to {small_cell - 1}"
    return f"{figure(100 * part / whole)}%"


def sheets(quality: DataQuality, small_cell: int) -> list[Sheet]:
    """Return the tables for the workbook."""
    rows = tuple(
        (r.file, r.read, None if 0 < r.set_aside < small_cell else r.set_aside)
        for r in quality.files
    )
    sites = tuple(
        (
            *(s.site, None if 0 < s.catheters < small_cell else s.catheters),
            _percent(s.dwell_known, s.catheters, small_cell),
            _percent(s.reason_known, s.removed, small_cell),
            *(s.calls, s.reached, _percent(s.reached, s.calls, 0)),
        )
        for s in quality.sites
    )
    columns = (
        *("Site", "Catheters", "Time in place known, %", "Reason known, %"),
        *("Planned calls", "Reached", "Reached, %"),
    )
    return [
        Sheet("Rows", ("File", "Rows read", "Set aside"), rows, note=_note(small_cell)),
        Sheet("Known by site", columns, sites, note=_note(small_cell)),
    ]


def _percent(part: int, whole: int, small_cell: int) -> float | None:
    """Return a percentage as `share` does, as a number or nothing."""
    is_told = share(part, whole, small_cell).endswith("%")
    return 100 * part / whole if is_told else None


def _note(small_cell: int) -> str:
    return f"Counts of 1 to {small_cell - 1} are left blank." if small_cell else ""
