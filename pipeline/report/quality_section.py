"""How good the data are: rows, calls that reached the family, what is provisional."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.answers.findings import Finding
from pipeline.answers.quality import DataQuality, FieldShare, SiteQuality
from pipeline.figures.completeness import completeness_figure
from pipeline.report import markdown
from pipeline.report.markdown import TableColumn, prose
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page
from pipeline.report.workbook import Sheet
from pipeline.words import numbers as words
from pipeline.words.numbers import count, percent

MOST_SITES = 20  # that a table or a figure has room for; of more, those of which least is known


def quality_numbers(quality: DataQuality) -> tuple[Number, ...]:
    """Return the rows, and the calls that reached a family, as figures."""
    found = []
    for rows in quality.files:
        found.append(Number(f"rows/{rows.file}/read", rows.read, "rows"))
        found.append(Number(f"rows/{rows.file}/set-aside", rows.set_aside, "rows"))
    for site in quality.sites:
        share = 100 * site.reached / site.calls if site.calls else None
        name = f"contacts/reached/{site.site}"
        found.append(Number(name, share, "per 100 calls", site.reached, site.calls))
    return tuple(found)


def quality_sentences(quality: DataQuality, findings: Sequence[Finding]) -> list[Sentence]:
    """Say how many rows came in, how many wait, and which measures are provisional."""
    read = sum(rows.read for rows in quality.files)
    aside = sum(rows.set_aside for rows in quality.files)
    found = [
        Sentence(
            f"{count(read, 'row was', 'rows were')} read; "
            f"{aside:,} {'was' if aside == 1 else 'were'} set aside.",
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


def quality_pieces(quality: DataQuality, page: Page) -> list[str]:
    """Return the tables and the figure of the section."""
    shown = ["### Rows read, and rows set aside {#rows}", _files_table(quality)]
    if quality.waiting:
        shown.append(_waiting_table(quality))
    shown += ["### What is known, by site {#known}", *_sites_table(quality)]
    if quality.fields:
        fields = least_complete(quality.fields)
        drawing = completeness_figure(fields)
        shown += page.figure("completeness", drawing)
        if len(fields) < len(quality.fields):
            shown.append(
                f"The figure shows the {MOST_SITES} of {_number_of_sites(quality.fields):,} sites "
                "with the least complete field, in the order of their names."
            )
    return [
        *shown,
        "### Figures that have moved since they were published {#drift}",
        *_moved(quality),
    ]


def _moved(quality: DataQuality) -> list[str]:
    if not quality.frozen:
        return ["No quarter is kept as published yet; `dwell freeze` keeps one."]
    kept = words.joined(list(quality.frozen))
    if not quality.moved:
        return [prose(f"Every figure kept as published still stands ({kept}).")]
    columns = (
        *(
            TableColumn("Quarter", 10),
            TableColumn("Measure", 30),
            TableColumn("Published", 14, True),
        ),
        *(TableColumn("Now", 14, True), TableColumn("Why", 32)),
    )
    rows = [
        [
            prose(cell)
            for cell in (moved.quarter, moved.title, moved.published, moved.now, moved.why)
        ]
        for moved in quality.moved
    ]
    caption = "Figures of all sites together that later records changed"
    return [markdown.table(columns, rows, caption)]


def _files_table(quality: DataQuality) -> str:
    heads = ("Rows read", "Loaded", "Unchanged", "Set aside")
    columns = (TableColumn("File", 20), *(TableColumn(head, 12, True) for head in heads))
    rows = [
        [prose(row.file), *(f"{n:,}" for n in (row.read, row.loaded, row.unchanged, row.set_aside))]
        for row in quality.files
    ]
    return markdown.table(columns, rows, "Rows of all loads")


def _waiting_table(quality: DataQuality) -> str:
    columns = (
        TableColumn("File", 14),
        TableColumn("Column", 18),
        TableColumn("Rule", 40),
        TableColumn("Rows", 8, True),
    )
    rows = [
        [
            prose(row.file),
            markdown.text(row.column),
            markdown.text(words.sentence_case(row.rule).rstrip(".")),
            f"{row.rows:,}",
        ]
        for row in quality.waiting
    ]
    return markdown.table(columns, rows, "Rows that wait for correction")


def least_reached(sites: Sequence[SiteQuality]) -> list[SiteQuality]:
    """Return the sites that a table has room for: those whose calls reached the fewest.

    In the order given.
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


def _sites_table(quality: DataQuality) -> list[str]:
    columns = (
        TableColumn("Site", 16),
        TableColumn("Catheters", 10, True),
        TableColumn("Time in place known", 14, True),
        TableColumn("Reason known", 14, True),
        TableColumn("Planned calls", 12, True),
        TableColumn("Reached", 12, True),
    )
    shown = least_reached(quality.sites)
    rows = [
        [
            markdown.text(site.site),
            f"{site.catheters:,}",
            share(site.dwell_known, site.catheters),
            share(site.reason_known, site.removed),
            f"{site.calls:,}",
            share(site.reached, site.calls),
        ]
        for site in shown
    ]
    caption = "Completeness of the quarter's records, by site"
    found = [markdown.table(columns, rows, caption)]
    if len(shown) < len(quality.sites):
        found.append(
            f"The table shows the {len(shown)} of {len(quality.sites):,} sites whose calls "
            "reached the fewest, in the order of their names; every site stands in `tables.xlsx`."
        )
    return found


def share(part: int, whole: int) -> str:
    """Return a percentage; "none" of nothing."""
    return percent(part / whole) if whole else "none"


def sheets(quality: DataQuality) -> list[Sheet]:
    """Return the tables for the workbook."""
    rows = tuple((r.file, r.read, r.set_aside) for r in quality.files)
    sites = tuple(
        (
            *(s.site, s.catheters),
            _percent(s.dwell_known, s.catheters),
            _percent(s.reason_known, s.removed),
            *(s.calls, s.reached, _percent(s.reached, s.calls)),
        )
        for s in quality.sites
    )
    columns = (
        *("Site", "Catheters", "Time in place known, %", "Reason known, %"),
        *("Planned calls", "Reached", "Reached, %"),
    )
    return [
        Sheet("Rows", ("File", "Rows read", "Set aside"), rows),
        Sheet("Known by site", columns, sites),
    ]


def _percent(part: int, whole: int) -> float | None:
    return 100 * part / whole if whole else None
