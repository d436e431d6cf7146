"""Rows of a comparison as they may be printed."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.disclosure import WITHHELD
from pipeline.report.gather_compare import MeasureComparison

_FIGURES = (
    "numerator",
    "rate",
    "lower",
    "upper",
    "expected",
    "ratio",
    "ratio_lower",
    "ratio_upper",
    "shrunken",
    "shrunken_lower",
    "shrunken_upper",
    "above_network",
)


def rows(result: MeasureComparison) -> list[dict[str, Any]]:
    """Return one row a group as it may be printed: null for what is withheld or unknown.

    The columns are those of ``dwell compare --format json``; a group inside of a stratum
    is named by both, in the order in which they were asked for.
    """
    printed = []
    hidden = zip(result.withheld.figures, result.withheld.episodes, strict=True)
    for row, (figures, episodes) in zip(result.comparison.rows, hidden, strict=True):
        values: dict[str, Any] = {
            "measure": result.measure.name,
            "group": ", ".join(filter(None, [row.group, result.within])),
            "episodes": None if episodes else row.episodes,
            "numerator": round(row.numerator),
            "denominator": None if episodes else number(row.denominator),
            **{name: number(getattr(row, name)) for name in _FIGURES[1:]},
            "called": row.called,
            "note": row.note,
        }
        if figures:
            values |= {**dict.fromkeys(_FIGURES), "called": None, "note": WITHHELD}
        printed.append(values)
    return printed


def number(value: float) -> float | None:
    """Return a number to six decimals; NaN and infinity, which JSON has not, as null."""
    return round(float(value), 6) if np.isfinite(value) else None
