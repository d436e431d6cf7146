"""Rendering by Quarto, where it is installed.

`QUARTO_PATH` names the program; else it is looked for on PATH.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import RenderError

OLDEST = (1, 4)  # the first with typst output
_ANSWER_S = 60
_INSTALL = "make quarto"


@dataclass(frozen=True, slots=True)
class Quarto:
    """A Quarto program that answered with its version."""

    path: Path
    version: str


def find_quarto() -> Quarto | None:
    """Return Quarto where one is installed, None where there is none.

    Raises
    ------
    RenderError
        If `QUARTO_PATH` names something that is not there, or the program found
        does not answer with a version, or is older than 1.4.
    """
    named = os.environ.get("QUARTO_PATH")
    found = shutil.which(named) if named else shutil.which("quarto")
    if found is None:
        if named:
            raise RenderError("QUARTO_PATH names no program.", try_next="unset QUARTO_PATH")
        return None
    return _checked(Path(found))


def _checked(path: Path) -> Quarto:
    try:
        answer = subprocess.run(
            [path, "--version"], capture_output=True, text=True, timeout=_ANSWER_S, check=True
        ).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        raise RenderError(
            f"{path} does not answer with a version.", try_next="--renderer builtin"
        ) from None
    found = re.search(r"\b(\d+)\.(\d+)(\.\d+)*", _plain(answer))
    if found is None:
        raise RenderError(f"{path} does not answer with a version.", try_next="--renderer builtin")
    if (int(found.group(1)), int(found.group(2))) < OLDEST:
        raise RenderError(
            f"Quarto {found.group()} is too old: 1.4 or newer is needed.",
            try_next=f"--renderer builtin, or {_INSTALL}",
        )
    return Quarto(path, found.group())


def require_quarto() -> Quarto:
    """Return Quarto, or say how to get it.

    Raises
    ------
    RenderError
        If there is none.
    """
    quarto = find_quarto()
    if quarto is None:
        raise RenderError(
            "Quarto is not installed: it is neither on PATH nor named by QUARTO_PATH.",
            try_next=f"--renderer builtin, or {_INSTALL}",
        )
    return quarto


def render_with_quarto(
    quarto: Quarto,
    qmd: Path,
    *,
    to: str,
    output: str,
    footer: str,
    part: str | None = None,
) -> None:
    """Run `quarto render` on a document in its own folder.

    Parameters
    ----------
    quarto : Quarto
        The program.
    qmd : Path
        The document, without cells; the result lands beside it.
    to : {"html", "typst"}
        The format; typst gives a PDF.
    output : str
        Name of the file to write.
    footer : str
        The line at the foot that says what made the file.
    part : {"main", "appendix"}, optional
        The half of the document to set; all of it unless given.

    Raises
    ------
    RenderError
        If Quarto fails, with the last line that it said.
    """
    command = [str(quarto.path), "render", qmd.name, "--to", to, "--output", output]
    command += ["-M", f"footer:{footer}"]
    command += ["-M", f"part:{part}"] if part else []
    done = subprocess.run(command, cwd=qmd.parent, capture_output=True, text=True, check=False)
    reason = _reason(done.stderr)
    if done.returncode != 0 or reason:  # it ends with 0 where a filter fails
        raise RenderError(f"Quarto could not render {qmd.name}: {reason or 'it gave no reason'}.")


def _reason(said: str) -> str | None:
    """Return what Quarto, or the typst that it runs, last marks as an error."""
    marked = re.findall(r"(?:^ERROR:?|\berror:)\s*(.+)$", _plain(said), flags=re.MULTILINE)
    return marked[-1].rstrip(".") if marked else None


def _plain(said: str) -> str:
    """Return what a program said without its colours."""
    return re.sub(r"\x1b\[[0-9;]*m", "", said)
