"""Words that the figures of groups share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pipeline.words.codes import words_of

Hidden = Sequence[bool] | np.ndarray
Labels = Mapping[str, str] | None


def left_out(count: int) -> str:
    """Say how many groups are not drawn; nothing where all are."""
    if not count:
        return ""
    return f" {count} group{'s are' if count > 1 else ' is'} withheld (few children)."


def label(group: str, labels: Labels) -> str:
    """Return what is printed for a group: its label, or its code as words."""
    return (labels or {}).get(group) or words_of(group)


def plain(breaks: Sequence[Any]) -> list[str]:
    """Write axis numbers without needless decimals."""
    return [f"{value:,.10g}" for value in breaks]
