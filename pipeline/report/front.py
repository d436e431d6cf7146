"""The first screen: the quarter's facts, three lists of sentences, one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.answers.findings import Finding, Rate
from pipeline.figures.sparkline import sparkline
from pipeline.measures.quarters import QuarterSize, quarter_size
from pipeline.report import markdown
from pipeline.report.definitions import CAUTIONS
from pipeline.report.markdown import TableColumn, bullets, prose
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block, item, side_by_side
from pipeline.report.workbook import Sheet
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words import numbers as words
from pipeline.words.desk import CONFIDENTIAL
from pipeline.words.numbers import count, figure, limits, percent, with_limits

_COLUMNS = (
    TableColumn("Measure", 32),
    TableColumn("This quarter (95% limits)", 15, is_number=True),
    TableColumn("Last quarter", 8, is_number=True),
    TableColumn("Target", 8, is_number=True),
    TableColumn("What the chart says", 16),
    TableColumn("Better", 8),
    TableColumn("Eight quarters", 20),
)
_ARROWS = {"above": "↑ ", "below": "↓ ", "": "→ "}
BANNER = block("confidential", prose(CONFIDENTIAL))


@dataclass(frozen=True, slots=True)
class Facts:
    """What the quarter's figures are made from.

    Attributes
    ----------
    quarter : str
        Such as `2025-Q4`.
    network : str
        Its name, from the settings.
    size : QuarterSize
        How much happened in it.
    fingerprint, as_of : str
        Of the records in the store.
    """

    quarter: str
    network: str
    size: QuarterSize
    fingerprint: str
    as_of: str

    def numbers(self) -> tuple[Number, ...]:
        """Return the facts as figures."""
        size = self.size
        reach = 100 * size.reached / size.contacts if size.contacts else None
        return (
            Number("sites", size.sites, "sites"),
            Number("catheters", size.catheters, "catheters"),
            Number("catheter-days", size.catheter_days, "catheter-days"),
            Number("dwell/unknown", size.unknown_dwell, "catheters"),
            Number("contacts/reached", reach, "per 100 calls", size.reached, size.contacts),
            Number("rows/set-aside", size.set_aside, "rows"),
        )


def facts_of(store: Store, quarter: str, settings: Settings) -> Facts:
    """Return the size of a quarter and what its figures are made from."""
    return Facts(
        quarter=quarter,
        network=settings.network,
        size=quarter_size(store, quarter),
        fingerprint=store.fingerprint(),
        as_of=store.as_of().isoformat(),
    )


def facts_strip(facts: Facts) -> str:
    """Return the quarter and its size as a list of a few words each."""
    size = facts.size
    reach = percent(size.reached / size.contacts) if size.contacts else "none"
    pairs = (
        (words.quarter(facts.quarter), markdown.text(facts.network)),
        count(size.sites, "site").split(" "),
        count(size.catheters, "catheter").split(" "),
        (f"{size.catheter_days:,.0f}", "catheter-days"),
        (reach, "of planned calls reached the family"),
    )
    strip = block("facts", bullets([f"**{number}** {what}" for number, what in pairs]))
    return f"{strip}\n\n{BANNER}"


def safety_box(events: Sequence[Sentence]) -> str:
    """Return what a family does in an emergency, and the serious events, before every figure."""
    family = "**In an emergency.** " + markdown.prose(CAUTIONS[2])
    return block("safety", bullets([family, *map(item, events)]))


def sources_note(facts: Facts, signals: str) -> str:
    """Return what the figures are made from.

    Parameters
    ----------
    facts : Facts
        Date and fingerprint of the records.
    signals : str
        A sentence: what tells which signals are new.
    """
    text = (
        f"Records as of {facts.as_of}, data fingerprint `{facts.fingerprint}`. "
        "An episode counts in its month of placement. A rate known for few has beneath it what "
        f"it would be had none, or all, of the missing had the event. {signals}"
    )
    return block("note", text)


def three_lists(
    changed: Sequence[Sentence], decide: Sequence[Sentence], unknown: Sequence[Sentence]
) -> str:
    """Return the three lists, side by side where there is room."""
    return side_by_side(
        ("What moved", "what-changed", changed),
        ("What to decide", "what-to-decide", decide),
        ("What we cannot tell", "what-we-cannot-tell", unknown),
    )


def measure_table(findings: Sequence[Finding], page: Page) -> str:
    """Return the table of all measures, the most important first."""
    quarter = words.quarter(findings[0].now.period) if findings else ""
    rows = [_row(finding, page) for finding in findings]
    return block("measures", markdown.table(_COLUMNS, rows, f"All measures, {quarter}"))


def _row(finding: Finding, page: Page) -> list[str]:
    measure, quarters = finding.measure, finding.quarters
    title = f"[{markdown.text(measure.title)}](#{measure.name})"
    line = sparkline([q.period for q in quarters], [q.rate for q in quarters], measure.unit)
    return [
        f"{title} [{markdown.prose(measure.unit)}]{{.unit}}",
        markdown.prose(rate_cell(finding.now)) + missing_range(finding),
        figure(quarters[-2].rate) if quarters[-2].has_figures else "",
        f"{finding.target:g}" if finding.target is not None else "none",
        markdown.prose(arrow(finding) + verdict_cell(finding)),
        measure.better.value,
        page.small(f"line-{measure.name.replace('_', '-')}", line),
    ]


def arrow(finding: Finding) -> str:
    """Return where the chart's level has gone; nothing where it cannot tell."""
    verdict = finding.verdict
    if verdict.is_signal:
        sides = [signal.direction for signal in verdict.named]
        side = sides[-1] if sides and sides[-1] in _ARROWS else ""
        turned = {"above": "below", "below": "above", "": ""}
        return _ARROWS[turned[side] if verdict.rare else side]
    return _ARROWS[""] if verdict.kind == "steady" else ""


def rate_cell(rate: Rate) -> str:
    """Return a rate and its limits in a few characters; a zero has its upper limit."""
    if rate.denominator <= 0:
        return "no figures"
    return with_limits(rate.rate, rate.lower, rate.upper)


def missing_range(finding: Finding) -> str:
    """Return the range of what a poorly known rate could be, to stand beneath it."""
    if not finding.is_poorly_known:
        return ""
    now = finding.now
    known = f"known for {percent(now.ascertainment)}: {limits(now.if_none, now.if_all)}"
    return f" [{markdown.prose(known)}]{{.unit}}"


def verdict_cell(finding: Finding) -> str:
    """Return the verdict, with its direction and whether it is new."""
    verdict = finding.verdict
    marks: list[str] = [finding.state, verdict.direction] if verdict.is_signal else []
    if finding.state == "ended":
        marks = ["signal ended"]
    said = ", ".join(mark for mark in marks if mark)
    return f"{verdict.words} ({said})" if said else verdict.words


def measure_sheet(findings: Sequence[Finding]) -> Sheet:
    """Return the table of all measures for the workbook."""
    columns = (
        *("Measure", "Title", "Kind", "Quarter", "Unit", "Numerator", "Denominator"),
        *("Rate", "Lower 95%", "Upper 95%", "Episodes", "Known", "Provisional", "Target"),
        "Verdict",
    )
    rows = []
    for f in findings:
        rows += [_sheet_row(f, rate, is_last=rate is f.quarters[-1]) for rate in f.quarters]
    return Sheet("Measures", columns, tuple(rows))


def _sheet_row(f: Finding, rate: Rate, *, is_last: bool) -> tuple[str | float | int | None, ...]:
    return (
        *(f.measure.name, f.measure.title, f.measure.kind.value, rate.period, f.measure.unit),
        *(rate.numerator, rate.denominator, rate.rate, rate.lower, rate.upper),
        *(rate.episodes, rate.ascertained, rate.provisional),
        f.target,
        verdict_cell(f) if is_last else None,
    )
