"""Rendering by Quarto, where it is installed.

`QUARTO_PATH` names the program; else it is looked for on PATH.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import RenderError

OLDEST = (1, 4)  # the first with typst output
_ANSWER_S = 60
_INSTALL = "make quarto"
# The models are many and small: threads for each would only wait for one another.
SMALL_MATRICES = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


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


def render(
    quarto: Quarto,
    qmd: Path,
    parameters: Mapping[str, Any],
    *,
    to: str,
    output: str,
    footer: str,
) -> None:
    """Run `quarto render` on a document in its own folder.

    Parameters
    ----------
    quarto : Quarto
        The program.
    qmd : Path
        The document; the result lands beside it.
    parameters : mapping of str to object
        Values laid over the defaults of the parameter cell.
    to : {"html", "typst"}
        The format; typst gives a PDF.
    output : str
        Name of the file to write.
    footer : str
        The line at the foot that says what made the file.

    Raises
    ------
    RenderError
        If Quarto fails, with the last line that it said.
    """
    command = [str(quarto.path), "render", qmd.name, "--to", to, "--output", output]
    command += ["-M", f"footer:{footer}"]
    for name, value in parameters.items():
        command += ["-P", f"{name}:{value}"]
    environment = {
        **os.environ,
        **SMALL_MATRICES,
        "QUARTO_PYTHON": sys.executable,
        "MPLBACKEND": "agg",
    }
    done = subprocess.run(
        command, cwd=qmd.parent, capture_output=True, text=True, env=environment, check=False
    )
    if done.returncode != 0:
        raise RenderError(f"Quarto could not render {qmd.name}: {_reason(done.stderr)}")


def _reason(said: str) -> str:
    """Return the line that names the error; never a traceback, which can quote records."""
    plain = _plain(said)
    named = re.findall(r"^pipeline\.errors\.\w+: (.+)$", plain, flags=re.MULTILINE)
    if named:
        return str(named[-1])
    missing = re.findall(r"^ModuleNotFoundError: No module named '([\w.]+)'", plain, re.MULTILINE)
    if missing:
        return f"the Python it runs has no {missing[-1]}; pip install '.[quarto]' brings it."
    kinds = re.findall(r"^(\w+(?:Error|Exception)): ", plain, flags=re.MULTILINE)
    return f"a cell failed ({kinds[-1]})." if kinds else "it gave no reason."


def _plain(said: str) -> str:
    """Return what a program said without its colours."""
    return re.sub(r"\x1b\[[0-9;]*m", "", said)
