"""Improvement actions in a report: whose they are, when they are due, what is overdue."""

from __future__ import annotations

from collections import Counter

from pipeline.answers.actions import ActionList
from pipeline.report import markdown
from pipeline.report.markdown import TableColumn, prose, text
from pipeline.report.numbers import Number, Sentence
from pipeline.words import numbers as words
from pipeline.words.codes import words_of

_COLUMNS = (
    TableColumn("Action", 46),
    TableColumn("Whose", 18),
    TableColumn("Due", 12),
    TableColumn("State", 12),
)


def action_numbers(actions: ActionList) -> tuple[Number, ...]:
    """Return how many actions are open, and how many overdue."""
    is_open = sum(row["state"] == "open" for row in actions.rows.to_dicts())
    return (
        Number("actions/open", is_open, "actions"),
        Number("actions/overdue", actions.overdue.height, "actions"),
    )


def overdue_sentences(actions: ActionList) -> list[Sentence]:
    """Return the decision that each overdue action asks for."""
    return [
        Sentence(
            f"Due in {words.month(row['due_month'])}, {words_of(row['owner_role'])}, and not done. "
            "A new date, or drop it?",
            ("actions/overdue",),
            row["title"],
            "actions",
        )
        for row in actions.overdue.to_dicts()
    ]


def action_pieces(actions: ActionList) -> list[str]:
    """Return the table of open actions, the soonest due first, and how many are closed."""
    if actions.rows.is_empty():
        return ["No action is recorded."]
    every = actions.rows.to_dicts()
    rows = [
        [
            text(row["title"]),
            prose(words_of(row["owner_role"])),
            words.month(row["due_month"]) if row["due_month"] else "no date",
            "**overdue**" if row["is_overdue"] else prose(words_of(row["state"])),
        ]
        for row in every
        if row["state"] == "open"
    ]
    closed = Counter(row["state"] for row in every if row["state"] != "open")
    said = words.joined([f"{n} {words_of(state)}" for state, n in sorted(closed.items())])
    caption = f"Open actions, the soonest due first{f'; closed: {said}' if said else ''}"
    return [markdown.table(_COLUMNS, rows, caption)]
