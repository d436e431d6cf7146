"""Words that the figures of groups share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.words.codes import words_of

Labels = Mapping[str, str] | None


def label(group: str, labels: Labels) -> str:
    """Return what is printed for a group: its label, or its code as words."""
    return (labels or {}).get(group) or words_of(group)


def plain(breaks: Sequence[Any]) -> list[str]:
    """Write axis numbers without needless decimals."""
    return [f"{value:,.10g}" for value in breaks]
