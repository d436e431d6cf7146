"""Which signals are new, which go on and which have ended since the quarter before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.answers.findings import Finding
from pipeline.answers.verdicts import direction_of
from pipeline.measures.periods import quarter_before
from pipeline.measures.signal_log import LoggedSignal, State, kept_list, states
from pipeline.report import markdown
from pipeline.report.markdown import TableColumn, prose
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import paragraph
from pipeline.report.workbook import Sheet
from pipeline.store import Store
from pipeline.words import numbers as words
from pipeline.words.verdicts import signal_words

STATES: tuple[State, ...] = ("new", "continuing", "ended")


@dataclass(frozen=True, slots=True)
class Basis:
    """What the signals of a quarter are compared with.

    Attributes
    ----------
    before : str
        The quarter before.
    kept_as_of : str
        Date of the records from which its list of signals was made and kept; empty
        where none was kept, and what today's records show for it stands in.
    """

    before: str
    kept_as_of: str = ""

    @property
    def sentence(self) -> str:
        """Say what tells which signals are new."""
        quarter = words.quarter(self.before)
        if self.kept_as_of:
            return (
                "Which signals are new, continuing or ended is told by the list kept for "
                f"{quarter}, made from the records as of {self.kept_as_of}."
            )
        return (
            f"No list of signals was kept for {quarter}: which signals are new, continuing or "
            "ended is told by what the records of today show for it."
        )


def signals_before(store: Store, quarter: str) -> Basis:
    """Return what the signals of a quarter are compared with."""
    before = quarter_before(quarter)
    kept = kept_list(store, before)
    return Basis(before, kept.as_of.isoformat() if kept else "")


@dataclass(frozen=True, slots=True)
class SignalRow:
    """One signal of one measure, and what has become of it."""

    finding: Finding
    signal: LoggedSignal
    state: State

    @property
    def words(self) -> str:
        """The signal in a few words."""
        return signal_words(self.signal, rare=self.finding.chart.is_of_gaps)

    @property
    def direction(self) -> str:
        """For the better or the worse; empty where neither."""
        better, rare = self.finding.measure.better, self.finding.chart.is_of_gaps
        return direction_of(self.signal.direction, better, rare=rare)


def signal_rows(findings: Sequence[Finding]) -> list[SignalRow]:
    """Return every signal, new ones first, then in the order of the report."""
    found = []
    for finding in findings:
        now = finding.verdict.signals
        state, _ = states(now, finding.verdict_before.signals)
        found += [SignalRow(finding, s, its) for s, its in zip(now, state, strict=True)]
        found += [SignalRow(finding, s, "ended") for s in finding.ended]
    return sorted(found, key=lambda row: STATES.index(row.state))


def signal_numbers(rows: Sequence[SignalRow]) -> list[Number]:
    """Return how many signals are in each state."""
    return [
        Number(f"signals/{state}", sum(row.state == state for row in rows), "signals")
        for state in STATES
    ]


def signal_sentences(rows: Sequence[SignalRow], basis: Basis) -> list[Sentence]:
    """Say how many signals are new, go on and have ended, and what tells so."""
    ids = tuple(f"signals/{state}" for state in STATES)
    if not rows:
        text = "No chart of all sites together signals, and none did in the quarter before."
        return [Sentence(text, ids), Sentence(basis.sentence)]
    counts = [sum(row.state == state for row in rows) for state in STATES]
    parts = [f"{number or 'none'} {state}" for number, state in zip(counts, STATES, strict=True)]
    text = f"Signals in the charts of all sites together: {words.joined(parts)}."
    return [Sentence(text, ids), Sentence(basis.sentence)]


def signal_pieces(rows: Sequence[SignalRow], said: Sequence[Sentence], basis: Basis) -> list[str]:
    """Return the signals with their states."""
    shown = ["### Signals: new, continuing and ended {#signals}", paragraph(said)]
    if rows:
        shown.append(_table(rows, basis))
    return shown


def _table(rows: Sequence[SignalRow], basis: Basis) -> str:
    columns = (
        TableColumn("State", 12), TableColumn("Measure", 34), TableColumn("Signal", 34),
        TableColumn("For the", 10),
    )  # fmt: skip
    cells = [
        [
            row.state,
            f"[{markdown.text(row.finding.measure.title)}](#{row.finding.measure.name})",
            prose(row.words),
            row.direction or "neither",
        ]
        for row in rows
    ]
    caption = f"Signals in the charts of all sites together, against {words.quarter(basis.before)}"
    return markdown.table(columns, cells, caption)


def signal_sheet(rows: Sequence[SignalRow]) -> Sheet:
    """Return the signals for the workbook."""
    columns = ("State", "Measure", "Title", "Rule", "Side", "First", "Last", "Signal", "For the")
    cells = tuple(
        (
            *(row.state, row.finding.measure.name, row.finding.measure.title),
            *(row.signal.kind, row.signal.direction),
            *(row.signal.first_period, row.signal.last_period, row.words, row.direction or None),
        )
        for row in rows
    )
    return Sheet("Signals", columns, cells)
