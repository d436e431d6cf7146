"""Words that the figures of groups share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.analysis.comparison.compare import Comparison
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import DIMENSIONS
from pipeline.words.codes import words_of
from pipeline.words.numbers import joined

Labels = Mapping[str, str] | None


def label(group: str, labels: Labels) -> str:
    """Return what is printed for a group: its label, or its code as words."""
    return (labels or {}).get(group) or words_of(group)


def plain(breaks: Sequence[Any]) -> list[str]:
    """Write axis numbers without needless decimals."""
    return [f"{value:,.10g}" for value in breaks]


def calls_title(measure: Measure, comparison: Comparison, labels: Labels) -> str:
    """Return what a figure of groups says: who is called different, on which side."""
    called = [row for row in comparison.rows if row.called]
    if not called:
        return f"{measure.title}: no {DIMENSIONS[comparison.by].title} is called different"
    above = [label(row.group, labels) for row in called if not row.ratio <= 1]
    below = [label(row.group, labels) for row in called if row.ratio <= 1]
    sides = [
        f"{joined(part)} {side}" for part, side in ((above, "above"), (below, "below")) if part
    ]
    return f"{measure.title}: {', '.join(sides)} what is expected"
