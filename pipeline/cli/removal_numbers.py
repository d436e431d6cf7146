"""Figures and counts of `dwell removal` for JSON."""

from __future__ import annotations

import numpy as np

from pipeline.disclosure import Policy


def number(value: float) -> float | None:
    """Return a figure for JSON, null where there is none."""
    return float(value) if np.isfinite(value) else None


def count(value: int, policy: Policy) -> int | None:
    """Return a count, null where it is withheld."""
    return None if bool(policy.is_small(value)) else int(value)
