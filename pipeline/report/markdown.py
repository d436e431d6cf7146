r"""Markdown that Quarto and the built-in renderer both understand.

Text that users set goes through `text`, which puts a backslash before every
punctuation mark: it is then letters to any Markdown reader, `<script>` included.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

_MARKS = re.compile(r"([!-/:-@\[-`{-~])")
_SPACE = re.compile(r"\s+")
# Marks that mean nothing to Markdown inside a line of our own prose.
_HARMLESS = set(".,:;()%/'!?+-")


def text(value: object) -> str:
    """Return a string as inert Markdown on one line."""
    plain = _SPACE.sub(" ", str(value)).strip()
    plain = "".join(c for c in plain if c.isprintable())
    return _MARKS.sub(r"\\\1", plain)


def prose(value: str) -> str:
    """Return our own sentence as inert Markdown, readable in the source.

    Marks that could only start a list or a heading stay when they are inside.
    """
    escaped = _MARKS.sub(lambda m: m[0] if m[0] in _HARMLESS else "\\" + m[0], value)
    return re.sub(r"^(\d+)([.)])", r"\1\\\2", re.sub(r"^([-+])", r"\\\1", escaped))


def slug(name: str) -> str:
    """Return a name as it may stand in an anchor or a file's name."""
    return "".join(c if c.isalnum() and c.isascii() else "-" for c in name.lower())


def bullets(items: Sequence[str]) -> str:
    """Return Markdown items as a tight list."""
    return "\n".join(f"- {item}" for item in items)


def figure_block(path: str, caption: str, alt: str, width_cm: float) -> str:
    """Return an image with caption and alternative text, alone in its paragraph."""
    return f'![{prose(caption)}]({path}){{fig-alt="{text(alt)}" width={width_cm:g}cm}}'


@dataclass(frozen=True, slots=True)
class TableColumn:
    """A column of a table: heading, share of the width, and whether it is a number."""

    heading: str
    share: int = 10
    is_number: bool = False


def table(columns: Sequence[TableColumn], rows: Sequence[Sequence[str]], caption: str) -> str:
    """Return a table that scrolls by itself where it is wider than the page.

    Parameters
    ----------
    columns : sequence of Column
        The columns.
    rows : sequence of sequence of str
        Cells, already Markdown.
    caption : str
        Plain caption; also names the region that scrolls.
    """
    head = "| " + " | ".join(prose(c.heading) for c in columns) + " |"
    rule = "|" + "|".join(_rule(c) for c in columns) + "|"
    body = ["| " + " | ".join(row) + " |" for row in rows]
    label = text(caption)
    opening = f'::: {{.table-scroll tabindex="0" role="region" aria-label="{label}"}}'
    lines = [opening, "", head, rule, *body, "", f": {prose(caption)}", "", ":::"]
    return "\n".join(lines)


def _rule(column: TableColumn) -> str:
    dashes = "-" * max(3, column.share)
    return f"{dashes}:" if column.is_number else f":{dashes}"


_gathered: list[list[str]] = []  # the innermost takes what is shown


@contextmanager
def gathered() -> Iterator[list[str]]:
    """Gather what is shown meanwhile, in the order shown, in place of Quarto's output."""
    _gathered.append([])
    try:
        yield _gathered[-1]
    finally:
        _gathered.pop()


def show(*pieces: str) -> None:
    """Put Markdown into the document, each piece as an output of its own.

    A figure must stand alone in its output for Quarto to see its caption.
    """
    if _gathered:
        _gathered[-1].extend(pieces)
        return
    from IPython.display import Markdown, display

    for piece in pieces:
        # Blank lines around it: Quarto sets one output right after another.
        display(Markdown(f"\n{piece}\n\n"))
