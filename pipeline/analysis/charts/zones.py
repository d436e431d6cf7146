"""Zone rules: patterns within one, two and three sigma of the centre line. Off by default.

Wording of the rules: the Western Electric handbook of 1956 and Nelson 1984,
Journal of Quality Technology 16:237-239. Their cost in false signals is in
Champ and Woodall 1987, Technometrics 29:393-399, and is computed for each chart
in `detectability`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts.results import Flags, Floats


@dataclass(frozen=True)
class ZoneHit:
    """One firing of a zone rule: positions of its points, direction and words."""

    points: tuple[int, ...]
    direction: str
    words: str


@dataclass(frozen=True)
class ZoneRule:
    """How many of how many points must pass a test, and the words for it.

    `chance` is the probability that a given stretch of points fires on normal
    in-control data, used to rank signals.
    """

    need: int
    window: int
    test: Callable[[Floats], Flags] | None
    words: str
    chance: float


ZONE_RULES: dict[str, ZoneRule] = {
    "two_of_three": ZoneRule(
        2, 3, lambda z: z > 2, "2 of 3 points beyond two sigma on one side", 0.0030
    ),
    "four_of_five": ZoneRule(
        4, 5, lambda z: z > 1, "4 of 5 points beyond one sigma on one side", 0.0055
    ),
    "eight_in_a_row": ZoneRule(8, 8, lambda z: z > 0, "8 points in a row on one side", 0.0078),
    "nine_in_a_row": ZoneRule(9, 9, lambda z: z > 0, "9 points in a row on one side", 0.0039),
    "six_trending": ZoneRule(6, 6, None, "6 points in a row moving one way", 0.0028),
    "fourteen_alternating": ZoneRule(
        14, 14, None, "14 points in a row alternating up and down", 0.0046
    ),
    "fifteen_inside": ZoneRule(15, 15, None, "15 points in a row within one sigma", 0.0033),
    "eight_outside": ZoneRule(
        8, 8, None, "8 points in a row with none within one sigma, on both sides", 0.0001
    ),
}


WITHOUT_ZONES = frozenset({"run", "g", "t", "ewma"})
"""Charts without a sigma, or whose points follow from one another."""

NO_ZONES = "Zone rules need points with a sigma each; on this chart they are not judged."


def zone_hits(z: Floats, rule: str) -> list[ZoneHit]:
    """Return each stretch of standardised points that fires a rule.

    A stretch that goes on firing is one hit, from the first point it names to
    the last.

    Parameters
    ----------
    z : float array, shape (m,)
        Points in sigma from the centre line, missing ones left out.
    rule : str
        A key of `ZONE_RULES`.
    """
    if ZONE_RULES[rule].test is not None:
        up = _merge(_one_sided(z, ZONE_RULES[rule]), "above", ZONE_RULES[rule].words)
        down = _merge(_one_sided(-z, ZONE_RULES[rule]), "below", ZONE_RULES[rule].words)
        return sorted(up + down, key=lambda hit: hit.points[-1])
    return _shape_hits(z, rule)


def _one_sided(z: Floats, rule: ZoneRule) -> list[tuple[int, list[int]]]:
    """Return (last point, points that pass) for each firing, the last point passing."""
    if rule.test is None:
        return []
    passed = rule.test(z)
    fired = []
    for end in np.flatnonzero(passed).tolist():
        window = np.arange(max(0, end - rule.window + 1), end + 1)
        inside = window[passed[window]]
        if inside.size >= rule.need:
            fired.append((end, inside.tolist()))
    return fired


def _shapes(z: Floats, rule: str) -> list[tuple[str, tuple[int, list[int]]]]:
    """Return (direction, (last point, points)) for rules on the shape of a stretch."""
    length = ZONE_RULES[rule].window
    fired = []
    for end in range(length - 1, len(z)):
        window = z[end - length + 1 : end + 1]
        direction = _shape_direction(window, rule)
        if direction:
            fired.append((direction, (end, list(range(end - length + 1, end + 1)))))
    return fired


def _shape_direction(window: Floats, rule: str) -> str:
    steps = np.diff(window)
    if rule == "six_trending":
        return "above" if np.all(steps > 0) else "below" if np.all(steps < 0) else ""
    if rule == "fourteen_alternating":
        return "both" if np.all(steps[1:] * steps[:-1] < 0) else ""
    if rule == "fifteen_inside":
        return "both" if np.all(np.abs(window) < 1) else ""
    both_sides = bool(np.any(window > 0) and np.any(window < 0))
    return "both" if both_sides and np.all(np.abs(window) > 1) else ""


def _shape_hits(z: Floats, rule: str) -> list[ZoneHit]:
    words, hits = ZONE_RULES[rule].words, []
    shapes = _shapes(z, rule)
    for direction in dict.fromkeys(d for d, _ in shapes):
        hits += _merge([pair for d, pair in shapes if d == direction], direction, words)
    return sorted(hits, key=lambda hit: hit.points[-1])


def _merge(fired: list[tuple[int, list[int]]], direction: str, words: str) -> list[ZoneHit]:
    """Join firings that share a point into one hit."""
    hits: list[set[int]] = []
    for _, points in sorted(fired):
        if hits and hits[-1] & set(points):
            hits[-1] |= set(points)
        else:
            hits.append(set(points))
    return [ZoneHit(tuple(sorted(points)), direction, words) for points in hits]
