"""Curves that step, as points to draw, and labels that do not touch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST_STEPS = 400  # along the time axis: finer ones cannot be told apart
HOURS_SHOWN = tuple(range(0, 121, 12))


def stepped(
    hours: Floats,
    curves: Sequence[Floats],
    starts: Sequence[float],
    until_h: float,
    *,
    all_out: bool,
) -> tuple[Floats, list[Floats]]:
    """Turn right-continuous curves into corner points from 0 to `until_h`.

    Parameters
    ----------
    hours : float array, shape (m,)
        Hours of the steps.
    curves : sequence of float arrays, shape (m,)
        Heights just after each hour.
    starts : sequence of float
        Height of each curve before the first hour.
    until_h : float
        End of the time axis.
    all_out : bool
        Whether every catheter was out at the last hour, so that the curves are known
        beyond it; else they end there.

    Returns
    -------
    hours : float array, shape (c,)
    curves : list of float arrays, shape (c,)
    """
    keep = _drawn(hours, until_h)
    last = float(hours[-1]) if len(hours) else 0.0
    end = until_h if all_out or last >= until_h else last
    at = np.concatenate([[0.0], np.repeat(hours[keep], 2), [end]])
    drawn = []
    for curve, start in zip(curves, starts, strict=True):
        heights = np.concatenate([[start], curve[keep]])
        drawn.append(np.repeat(heights, 2))
    return at, drawn


def _drawn(hours: Floats, until_h: float) -> NDArray[np.bool_]:
    """Choose the steps to draw; of many that fall together on the page, the last."""
    keep = hours <= until_h
    if keep.sum() > MOST_STEPS:
        place = np.floor(hours / until_h * MOST_STEPS)
        keep &= np.append(place[1:] != place[:-1], True)
    return keep


def spread(places: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Move labels apart to at least `gap`, keeping their order, within `low` and `high`."""
    order = np.argsort(places, kind="stable")
    moved = np.clip(np.asarray(places, float)[order], low, high)
    for i in range(1, len(moved)):
        moved[i] = max(moved[i], moved[i - 1] + gap)
    if len(moved) and moved[-1] > high:
        moved[-1] = high
        for i in range(len(moved) - 2, -1, -1):
            moved[i] = min(moved[i], moved[i + 1] - gap)
    result = np.empty(len(moved))
    result[order] = moved
    return [float(x) for x in result]
