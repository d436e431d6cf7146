"""How good the data are: rows, calls that reached the family, what is provisional."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.figures.completeness import FieldShare, completeness_figure
from pipeline.report import markdown, words
from pipeline.report.findings import Finding
from pipeline.report.markdown import Column, prose
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page
from pipeline.report.words import count, few, figure
from pipeline.report.workbook import Sheet

_COUNT = re.compile(r"\b\d[\d,]* ")


@dataclass(frozen=True, slots=True)
class FileRows:
    """What became of the rows of one kind of file, over all loads."""

    file: str
    read: int
    loaded: int
    unchanged: int
    set_aside: int


@dataclass(frozen=True, slots=True)
class WaitingRows:
    """Rows that wait for correction, by the rule that they break."""

    file: str
    column: str
    rule: str
    rows: int


@dataclass(frozen=True, slots=True)
class SiteQuality:
    """What is known of one site's catheters in the quarter."""

    site: str
    catheters: int
    dwell_known: int
    reason_known: int
    removed: int
    calls: int
    reached: int


@dataclass(frozen=True, slots=True)
class MovedFigure:
    """A figure of a frozen quarter that later records changed."""

    quarter: str
    title: str
    published: str
    now: str
    why: str


@dataclass(frozen=True, slots=True)
class DataQuality:
    """All that section 6 shows.

    Attributes
    ----------
    files, waiting, sites : tuples
        Rows by kind of file, rows that wait, and what is known by site.
    fields : tuple of FieldShare
        Completeness of the quarter's fields by site.
    moved : tuple of MovedFigure
        Figures of frozen quarters that are others now.
    frozen : tuple of str
        Quarters whose figures are kept as published.
    """

    files: tuple[FileRows, ...]
    waiting: tuple[WaitingRows, ...]
    sites: tuple[SiteQuality, ...]
    fields: tuple[FieldShare, ...] = ()
    moved: tuple[MovedFigure, ...] = ()
    frozen: tuple[str, ...] = ()


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
            f"{count(provisional, 'measure is', 'measures are')} provisional: the last months "
            "have catheters whose follow-up is not complete."
        )
        found.append(Sentence(text, ("measures/provisional",)))
    return found


def pieces(quality: DataQuality, page: Page, small_cell: int) -> list[str]:
    """Return the tables and the figure of the section."""
    shown = ["### Rows read, and rows set aside {#rows}", _files_table(quality, small_cell)]
    if quality.waiting:
        shown.append(_waiting_table(quality, small_cell))
    shown += ["### What is known, by site {#known}", _sites_table(quality, small_cell)]
    if quality.fields:
        drawing = completeness_figure(quality.fields, with_numbers=small_cell == 0)
        shown += page.figure("completeness", drawing)
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
            markdown.text(row.rule.replace("_", " ")),
            few(row.rows, small_cell),
        ]
        for row in quality.waiting
    ]
    return markdown.table(columns, rows, "Rows that wait for correction", "waiting")


def _sites_table(quality: DataQuality, small_cell: int) -> str:
    columns = (
        Column("Site", 16),
        Column("Catheters", 10, True),
        Column("Time in place known", 14, True),
        Column("Reason known", 14, True),
        Column("Planned calls", 12, True),
        Column("Reached", 12, True),
    )
    rows = [
        [
            markdown.text(site.site),
            few(site.catheters, small_cell),
            share(site.dwell_known, site.catheters, small_cell),
            share(site.reason_known, site.removed, small_cell),
            f"{site.calls:,}",
            share(site.reached, site.calls, 0),
        ]
        for site in quality.sites
    ]
    return markdown.table(columns, rows, "Completeness of the quarter's records, by site", "known")


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
        (s.site, s.calls, s.reached, 100 * s.reached / s.calls if s.calls else None)
        for s in quality.sites
    )
    return [
        Sheet("Rows", ("File", "Rows read", "Set aside"), rows, note=_note(small_cell)),
        Sheet("Calls", ("Site", "Planned calls", "Reached", "Reached, %"), sites),
    ]


def _note(small_cell: int) -> str:
    return f"Counts of 1 to {small_cell - 1} are left blank." if small_cell else ""
