"""Reading a `.qmd` file: front matter, prose and Python cells, in order.

Only what the reports use is read here, and it is read as Quarto reads it: cell
options are `#| key: value` lines at the top of a cell, and the cell tagged
`parameters` holds defaults that a caller may replace.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import RenderError

_FENCE = re.compile(r"^```\{python\}\s*$")
_OPTION = re.compile(r"^#\|\s*([\w-]+):\s*(.+?)\s*$")
_HEADING = re.compile(r"^#{1,6}\s+(.+?)\s*(\{[^}]*\})?\s*$")


@dataclass(frozen=True, slots=True)
class Prose:
    """Markdown that stands between cells, the front matter included."""

    text: str


@dataclass(frozen=True, slots=True)
class CodeCell:
    """One Python cell.

    Attributes
    ----------
    source : str
        The code, without its option lines.
    section : str
        The heading that the cell stands under; before the first heading, its
        label in words.
    is_parameters : bool
        The cell holds the defaults of the document's parameters.
    """

    source: str
    section: str
    is_parameters: bool = False


Block = Prose | CodeCell


def read_qmd(path: Path) -> list[Block]:
    """Return the blocks of a `.qmd` file in order.

    Raises
    ------
    RenderError
        If the file cannot be read, or a cell is not closed.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise RenderError(f"Cannot read the report source {path.name}: {error.strerror}.") from None
    return _blocks(lines, path.name)


def _blocks(lines: list[str], name: str) -> list[Block]:
    blocks: list[Block] = []
    prose: list[str] = []
    section = ""
    number = 0
    while number < len(lines):
        line = lines[number]
        if not _FENCE.match(line):
            heading = _HEADING.match(line)
            section = heading.group(1) if heading else section
            prose.append(line)
            number += 1
            continue
        try:
            end = lines.index("```", number)
        except ValueError:
            raise RenderError(f"{name}, line {number + 1}: the cell is not closed.") from None
        blocks += [Prose("\n".join(prose)), _cell(lines[number + 1 : end], section)]
        prose = []
        number = end + 1
    blocks.append(Prose("\n".join(prose)))
    return blocks


def _cell(lines: list[str], section: str) -> CodeCell:
    options: dict[str, str] = {}
    body = 0
    for line in lines:
        option = _OPTION.match(line)
        if option is None:
            break
        options[option.group(1)] = option.group(2)
        body += 1
    label = options.get("label", "").replace("-", " ").capitalize()
    is_parameters = "parameters" in options.get("tags", "")
    return CodeCell("\n".join(lines[body:]), section or label, is_parameters)
