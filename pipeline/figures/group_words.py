"""Words that the figures of groups share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pipeline.figures.steps import spoken
from pipeline.measures.catalogue import Measure

Hidden = Sequence[bool] | np.ndarray
Labels = Mapping[str, str] | None


def left_out(count: int) -> str:
    """Say how many groups are not drawn; nothing where all are."""
    if not count:
        return ""
    return f" {count} group{'s are' if count > 1 else ' is'} withheld (few children)."


def label(group: str, labels: Labels) -> str:
    """Return what is printed for a group: its label, or its code as words."""
    return (labels or {}).get(group) or spoken(group)


def listed(names: Sequence[str]) -> str:
    """Join names by commas and a last "and"."""
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def things(measure: Measure) -> str:
    """Name what the denominator counts: "catheters", "catheter-days"."""
    what = measure.unit.split()[-1]
    return what if what.endswith("s") else f"{what}s"


def probability(value: float) -> str:
    """Write a probability as a whole percentage, the ends as "below 1%" and "over 99%"."""
    if not np.isfinite(value):
        return ""
    if value < 0.01:
        return "below 1%"
    return "over 99%" if value > 0.99 else f"{100 * value:.0f}%"


def plain(breaks: Sequence[Any]) -> list[str]:
    """Write axis numbers without needless decimals."""
    return [f"{value:,.10g}" for value in breaks]
