"""Signals of the points that people read: beyond a limit, and long runs on one side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.limits import Limits
from pipeline.analysis.charts.results import Flags, Floats, Ints, Signal
from pipeline.analysis.charts.runs import RUN_BITS, bits, chances_about, runs_of, sides
from pipeline.analysis.charts.stack import Stack

ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Lines:
    """What the points of a stack are judged by: each point's value, lines and baseline rate."""

    value: Floats
    centre: Floats
    limits: Limits
    rate: Floats


def beyond(value: Floats, lower: Floats, upper: Floats) -> tuple[Flags, Flags]:
    """Return which points lie strictly below the lower and above the upper limit."""
    slack = ROUNDING * np.maximum(np.abs(value), 1e-300)
    with np.errstate(invalid="ignore"):
        return value < lower - slack, value > upper + slack


def find_signals(stack: Stack, kinds: Sequence[str], lines: Lines) -> list[tuple[Signal, ...]]:
    """Judge every chart of a stack.

    Parameters
    ----------
    stack : Stack
    kinds : sequence of str
        The chart drawn of each series.
    lines : Lines
        Without a multiplier.

    Returns
    -------
    list of tuple of Signal
        Of each series: points beyond a limit in time order, then runs. Points that are
        provisional or missing neither signal nor count in a run, and runs are judged
        after a complete baseline alone.
    """
    found: list[list[Signal]] = [[] for _ in stack.counts]
    below, above = beyond(lines.value, lines.limits.lower, lines.limits.upper)
    for i in np.flatnonzero(stack.judged & (below | above)).tolist():
        _add(found, stack, "beyond_limit", np.array([i]), is_above=bool(above[i]))
    side = sides(lines.value, lines.centre)
    useful = np.flatnonzero(stack.kept & (side != 0))
    start, length, _ = runs_of(side[useful], stack.limit_set[useful])
    weight = _weights(stack, kinds, lines, side)[useful]
    total = np.add.reduceat(weight, start) if start.size else weight
    for r in np.flatnonzero(total >= RUN_BITS - ROUNDING).tolist():
        points = useful[start[r] : start[r] + length[r]]
        _add(found, stack, "long_run", points, is_above=bool(side[points[0]] > 0))
    return [tuple(signals) for signals in found]


def _add(
    found: list[list[Signal]], stack: Stack, kind: str, points: Ints, *, is_above: bool
) -> None:
    series = int(stack.series[points[0]])
    own = points - stack.offset[series]
    periods = stack.counts[series].periods
    found[series].append(
        Signal(kind, tuple(own.tolist()), periods[own[0]], periods[own[-1]],
               "above" if is_above else "below")
    )  # fmt: skip


def _weights(stack: Stack, kinds: Sequence[str], lines: Lines, side: Ints) -> Floats:
    """Return what each point adds to a run."""
    weight = np.zeros(side.size)
    for kind in dict.fromkeys(kinds):
        mine = np.array([each == kind for each in kinds], bool)[stack.series] & stack.kept
        if kind == "run":
            chances = _own_shares(stack, side, mine)
        else:
            chances = chances_about(
                kind, stack.denominator[mine], lines.rate[mine], lines.centre[mine]
            )
        weight[mine] = bits(*chances, side[mine])
    return weight


def _own_shares(stack: Stack, side: Ints, mine: Flags) -> tuple[Floats, Floats]:
    """Return the shares of a baseline above and below its median, where many points may tie."""
    shares = []
    for way in (1, -1):
        held = np.bincount(stack.limit_set[stack.baseline & (side == way)], minlength=stack.sets)
        shares.append(np.asarray(held + 0.5, float)[stack.limit_set[mine]])
    return shares[0], shares[1]
