"""What is given to a report's document: by `dwell`, or by hand with Quarto's `-P name:value`."""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from pipeline.errors import StoreError, UsageError


def check_parameters(unknown: Iterable[str], known: Sequence[str]) -> None:
    """Refuse a parameter that the document does not have, which would be passed over.

    Parameters
    ----------
    unknown : iterable of str
        The names that have come after the document's own parameters; those that begin
        with a line beneath are a notebook's.
    known : sequence of str
        Its parameters.

    Raises
    ------
    UsageError
        Naming the parameter and the nearest that there is.
    """
    for name in sorted(n for n in unknown if not n.startswith("_")):
        near = difflib.get_close_matches(name, known, n=1) or known
        raise UsageError(
            f"The report has no parameter {name}.", try_next=f"-P {' or '.join(near)}:VALUE"
        )


def store_path(db: str) -> str:
    """Return the store that is asked for, or that `DWELL_DB` names, as an absolute path.

    A document runs in its own folder, so a path that is not there is named in full.

    Raises
    ------
    StoreError
        There is no such file.
    """
    path = Path(db or os.environ.get("DWELL_DB") or "dwell.duckdb").absolute()
    if not path.exists():
        raise StoreError(
            f"There is no store {path}.", try_next="-P db:PATH, or the variable DWELL_DB"
        )
    return str(path)
