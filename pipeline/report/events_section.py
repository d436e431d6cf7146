"""Serious events in a report: a box on page one, a decision, and each of them in a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.answers.events import EventList
from pipeline.measures.periods import quarter_of
from pipeline.report import markdown
from pipeline.report.markdown import TableColumn, prose, text
from pipeline.report.numbers import Number, Sentence
from pipeline.words import numbers as words
from pipeline.words.codes import words_of

_NAMED = 4  # events that page one names; the others are counted there
_COLUMNS = (
    TableColumn("Placed in", 14),
    TableColumn("Site", 16),
    TableColumn("Event", 26),
    TableColumn("Hour after placement", 12, is_number=True),
    TableColumn("Reviewed", 18),
)
_ANCHOR = "events"


def event_numbers(quarter: str, events: EventList) -> tuple[Number, ...]:
    """Return how many serious events there are and how many wait for a review."""
    of_quarter = [row for row in events.rows.to_dicts() if _quarter(row) == quarter]
    waiting = events.not_reviewed.height
    return (
        Number(f"events/{quarter}", len(of_quarter), "events"),
        Number("events/not-reviewed", waiting, "events"),
    )


def _quarter(row: dict[str, str]) -> str:
    return quarter_of(row["placed_month"])


def box_sentences(quarter: str, events: EventList) -> list[Sentence]:
    """Return what the box on page one says: events of the quarter, and those not reviewed."""
    rows = [row for row in events.rows.to_dicts() if _quarter(row) == quarter]
    name = f"events/{quarter}"
    if rows:
        kinds = Counter(row["kind"] for row in rows)
        parts = [words.count(n, words_of(kind)) for kind, n in kinds.most_common()]
        said = f"{len(rows)} in this quarter: {words.joined(parts)}."
    else:
        said = "None is recorded in this quarter."
    found = [Sentence(said, (name,), "Serious events", _ANCHOR)]
    waiting = events.not_reviewed.to_dicts()
    if waiting:
        found.append(Sentence(_waiting(waiting), ("events/not-reviewed",), "Not reviewed", _ANCHOR))
    return found


def _waiting(rows: Sequence[dict[str, str]]) -> str:
    """Name the latest events that wait for a review, and count the others."""
    latest = rows[-_NAMED:][::-1]
    named = [
        f"{words_of(row['kind'])} at {row['site_label']} ({words.month(row['placed_month'])})"
        for row in latest
    ]
    older = len(rows) - len(latest)
    said = words.joined([*named, *([f"{older} before"] if older else [])])
    return f"{words.sentence_case(said)}."


def to_review(events: EventList) -> list[Sentence]:
    """Return the decision that events not reviewed ask for; it comes before all others."""
    waiting = events.not_reviewed.height
    if not waiting:
        return []
    text_ = f"{words.count(waiting, 'waits', 'wait')} for a review. Who reviews {_them(waiting)}, "
    return [Sentence(f"{text_}and by when?", ("events/not-reviewed",), "Serious events", _ANCHOR)]


def _them(number: int) -> str:
    return "it" if number == 1 else "them"


def event_pieces(events: EventList) -> list[str]:
    """Return the table of every event of the last four quarters and of all not reviewed."""
    if not events.count:
        return ["No serious event is recorded."]
    rows = [
        [
            words.month(row["placed_month"]),
            text(row["site_label"]),
            prose(words.sentence_case(words_of(row["kind"]))),
            f"{row['at_h']:.0f}" if row["at_h"] is not None else "",
            _reviewed(row),
        ]
        for row in events.rows.to_dicts()
    ]
    return [markdown.table(_COLUMNS, rows, "Every serious event, by month of placement")]


def _reviewed(row: dict[str, str]) -> str:
    if not row["is_reviewed"]:
        return "**not reviewed**"
    return words.month(row["reviewed_month"]) if row["reviewed_month"] else "yes"
