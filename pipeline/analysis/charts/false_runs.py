"""The exact chance of a false signal by limits and run rules over a whole series.

One pass along the series carries the chances of every (side, run so far,
crossings, useful points), so unequal denominators and points that may fall on
the centre line cost no approximation.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from pipeline.analysis.charts.point_models import ON_LINE
from pipeline.analysis.charts.results import Floats
from pipeline.analysis.charts.runs import crossings_limit, longest_run_limit


def chance_of_signal(chances: Floats, rules: Collection[str]) -> float:
    """Return the chance of at least one signal, the series looked at once, whole.

    Parameters
    ----------
    chances : float array, shape (m, 5)
        Chance of each band at each point, as `band_chances` gives it.
    rules : collection of str
        Some of ``beyond_limit``, ``long_run`` and ``few_crossings``.
    """
    m = len(chances)
    limits = [longest_run_limit(n) if "long_run" in rules else m for n in range(m + 1)]
    quiet = 0.0
    for limit in sorted(set(limits)):
        sizes = [n for n in range(m + 1) if limits[n] == limit]
        quiet += _quiet(_thirds(chances, rules), limit, sizes, crossings="few_crossings" in rules)
    return float(np.clip(1 - quiet, 0, 1))


def _thirds(chances: Floats, rules: Collection[str]) -> Floats:
    """Return the chances of above, below and on the line without a limit crossed."""
    inner = slice(1, -1) if "beyond_limit" in rules else slice(None)
    places = np.arange(chances.shape[1])[inner]
    above, below = places[places > ON_LINE], places[places < ON_LINE]
    return np.stack(
        [chances[:, above].sum(axis=1), chances[:, below].sum(axis=1), chances[:, ON_LINE]], axis=1
    )


def _quiet(thirds: Floats, limit: int, sizes: list[int], *, crossings: bool) -> float:
    """Return the chance of no signal and a number of useful points among `sizes`."""
    m = len(thirds)
    enough = max((crossings_limit(n) for n in sizes), default=0) if crossings else 0
    # state[side, run - 1, crossings (the last: enough), useful points]
    state = np.zeros((2, max(limit, 1), enough + 1, m + 1))
    empty = 1.0
    for row in thirds:
        state, empty = _step(state, empty, row)
    total = empty if 0 in sizes else 0.0
    for n in sizes:
        if n > 0:
            total += state[:, :, crossings_limit(n) if crossings else 0 :, n].sum()
    return float(total)


def _step(state: Floats, empty: float, row: Floats) -> tuple[Floats, float]:
    after = state * row[2]
    for side in (0, 1):
        moved = row[side] * state[side]
        after[side, 1:, :, 1:] += moved[:-1, :, :-1]
        turned = row[side] * state[1 - side].sum(axis=0)
        after[side, 0, 1:, 1:] += turned[:-1, :-1]
        after[side, 0, -1, 1:] += turned[-1, :-1]
        after[side, 0, 0, 1] += row[side] * empty
    return after, empty * row[2]
