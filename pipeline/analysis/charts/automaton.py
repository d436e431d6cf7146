"""Zone rules as a finite automaton, for exact run lengths.

Champ and Woodall 1987, Technometrics 29:393-399, showed that rules on zones
make a Markov chain: what a chart will do depends only on the last few points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pipeline.analysis.charts.point_models import BANDS
from pipeline.analysis.charts.results import Floats, Ints

LAST_BAND = len(BANDS) - 1
HEIGHT = (-3, -2, -1, 0, None, 0, 1, 2, 3)
"""Whole sigma that each band passes, by sign; on the line none."""

WINDOWS = {"two_of_three": (2, 3, 2), "four_of_five": (4, 5, 1)}
"""Needed, window, sigma to pass."""

ROWS = {"eight_in_a_row": 8, "nine_in_a_row": 9}

STILL, WIDE = 15, 8
"""Points in a row all within one sigma, and none within one sigma, that fire a rule."""

CHAINED = frozenset({"beyond_limit", *WINDOWS, *ROWS, "fifteen_inside", "eight_outside"})
"""Rules that the automaton knows: those that ask only for the zone of each point."""

SIGNAL = -1

State = tuple[tuple[int, ...], ...]


@dataclass(frozen=True, eq=False)
class Automaton:
    """`step[state, band]` is the next state, or -1 where a rule fires; it starts in 0."""

    step: Ints


def zone_automaton(rules: Sequence[str]) -> Automaton:
    """Build the automaton of the given rules; those it does not know are left out."""
    return _build(tuple(sorted(set(rules) & CHAINED)))


@lru_cache(maxsize=64)
def _build(rules: tuple[str, ...]) -> Automaton:
    start: State = tuple((0,) * _memory(rule) for rule in rules)
    known, rows, todo = {start: 0}, [], [start]
    while todo:
        state = todo.pop(0)
        row = []
        for band in range(len(BANDS)):
            after = _advance(state, band, rules)
            if after is not None and after not in known:
                known[after] = len(known)
                todo.append(after)
            row.append(SIGNAL if after is None else known[after])
        rows.append(row)
    return Automaton(np.asarray(rows, np.int64))


def _memory(rule: str) -> int:
    """Return how many numbers a rule has to remember."""
    if rule in WINDOWS:
        return WINDOWS[rule][1] - 1
    return 2 if rule == "eight_outside" else 1


def _advance(state: State, band: int, rules: tuple[str, ...]) -> State | None:
    """Return the next state, or None where a rule fires."""
    parts = []
    for memory, rule in zip(state, rules, strict=True):
        part = _advance_rule(memory, band, rule)
        if part is None:
            return None
        parts.append(part)
    return tuple(parts)


def _advance_rule(memory: tuple[int, ...], band: int, rule: str) -> tuple[int, ...] | None:
    if rule == "beyond_limit":
        return None if band in {0, LAST_BAND} else memory
    if rule in ROWS:
        side = _passed(band, 0)
        run = memory[0] + side if side * memory[0] >= 0 and side != 0 else side
        return None if abs(run) >= ROWS[rule] else (run,)
    if rule == "fifteen_inside":
        inside = 0 if _passed(band, 1) else memory[0] + 1
        return None if inside >= STILL else (inside,)
    if rule == "eight_outside":
        return _advance_wide(memory, _passed(band, 1))
    need, _, sigma = WINDOWS[rule]
    here = _passed(band, sigma)
    if here and sum(past == here for past in memory) + 1 >= need:
        return None
    return (*memory[1:], here)


def _advance_wide(memory: tuple[int, ...], side: int) -> tuple[int, ...] | None:
    """Follow points outside one sigma: how many in a row, and the last of them on one side."""
    if side == 0:
        return (0, 0)
    outside = min(memory[0] + 1, WIDE)
    same = memory[1] + side if side * memory[1] > 0 else side
    same = max(-WIDE, min(WIDE, same))
    return None if outside == WIDE and abs(same) < WIDE else (outside, same)


def _passed(band: int, sigma: int) -> int:
    """Return +1 or -1 for a band beyond so many sigma on its side, else 0."""
    height = HEIGHT[band]
    if height is None or abs(height) < sigma:
        return 0
    return 1 if band > LAST_BAND // 2 else -1


def expected_steps(automaton: Automaton, chances: Floats) -> float:
    """Return the expected points until a rule fires, points all alike.

    Parameters
    ----------
    automaton : Automaton
    chances : float array, shape (9,)
        Chance of each band.
    """
    matrix = _matrix(automaton, chances)
    states = np.eye(len(matrix)) - matrix
    if np.all(matrix.sum(axis=1) > 1 - 1e-14):
        return float("inf")
    return float(np.linalg.solve(states, np.ones(len(matrix)))[0])


def chance_of_firing(automaton: Automaton, chances: Floats) -> float:
    """Return the chance that a rule fires somewhere in a series.

    Parameters
    ----------
    automaton : Automaton
    chances : float array, shape (m, 9)
        Chance of each band at each point.
    """
    size, stays = len(automaton.step), automaton.step != SIGNAL
    to = automaton.step[stays]
    quiet: Floats = np.zeros(size)
    quiet[0] = 1.0
    for row in chances:
        quiet = np.bincount(to, np.outer(quiet, row)[stays], size).astype(float)
    return float(np.clip(1 - quiet.sum(), 0, 1))


def _matrix(automaton: Automaton, chances: Floats) -> Floats:
    size = len(automaton.step)
    matrix = np.zeros((size, size))
    for band, chance in enumerate(chances):
        to = automaton.step[:, band]
        stays = to != SIGNAL
        np.add.at(matrix, (np.flatnonzero(stays), to[stays]), chance)
    return matrix
