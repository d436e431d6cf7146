"""What to tell and what to withhold, where not all of it can be told: integer programmes.

Both are solved to the optimum; where the time given to a release runs out, a safe
choice is made greedily and the clock says so.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PATIENCE_S = 20.0


@dataclass
class Clock:
    """How long a release may look for the best choice, and whether it had to stop.

    Attributes
    ----------
    seconds : float
        Left for looking.
    ran_out : bool
        A choice was made greedily.
    """

    seconds: float = PATIENCE_S
    ran_out: bool = field(default=False)

    def solve(self, cost: Floats, rows: Floats, least: Floats, forced: Bools) -> Bools | None:
        """Choose the cheapest 0-or-1 vector x with `rows @ x >= least`, 1 where forced.

        Returns None where there is none, or no time is left to find the best.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp

        if self.seconds <= 0:
            self.ran_out = True
            return None
        begun = time.monotonic()
        answer = milp(
            cost,
            integrality=1,
            bounds=Bounds(forced.astype(float), 1.0),
            constraints=[LinearConstraint(rows, least, np.inf)] if len(rows) else [],
            options={"time_limit": self.seconds},
        )
        self.seconds -= time.monotonic() - begun
        if answer.status == 1:
            self.ran_out = True
        return answer.x > 0.5 if answer.status == 0 else None


def farthest_apart(weights: Floats, clashes: Sequence[tuple[int, int]], clock: Clock) -> Bools:
    """Choose what to tell, worth the most, so that no two of it clash.

    Parameters
    ----------
    weights : float array, shape (n,)
        What telling each is worth.
    clashes : sequence of pairs of int
        Which cannot both be told.
    clock : Clock
        The time that is left.

    Returns
    -------
    bool array, shape (n,)
    """
    if not clashes:
        return np.ones(len(weights), bool)
    rows = np.zeros((len(clashes), len(weights)))
    for row, pair in zip(rows, clashes, strict=True):
        row[list(pair)] = 1.0
    withheld = clock.solve(weights, rows, np.ones(len(rows)), np.zeros(len(weights), bool))
    if withheld is not None:
        return ~withheld
    told = np.zeros(len(weights), bool)
    for one in np.argsort(-weights, kind="stable").tolist():
        told[one] = not any(told[a + b - one] for a, b in clashes if one in (a, b))
    return told


@dataclass(frozen=True)
class Room:
    """What groups that are withheld have to hold together, so that none can be told apart.

    Attributes
    ----------
    counts : float array, shape (groups,)
        What each adds.
    least : float
        What they need, all together.
    asks : bool array, shape (groups,)
        Which groups, once withheld, ask for it; without one of them nothing is needed.
    always : float
        What others add whatever is chosen here.
    is_asked : bool
        It is needed whatever is chosen here.
    """

    counts: Floats
    least: float
    asks: Bools
    always: float = 0.0
    is_asked: bool = False

    def fits(self, withheld: Bools) -> bool:
        """Whether the groups withheld leave room enough."""
        if not self.is_asked and not self.asks[withheld].any():
            return True
        return self.always + float(self.counts[withheld].sum()) >= self.least

    def rows(self) -> tuple[Floats, Floats]:
        """Return the same as rows of a programme and their bounds."""
        if self.is_asked:
            return self.counts[None, :], np.array([self.least - self.always])
        asking = np.flatnonzero(self.asks)
        bound = max(0.0, self.least - self.always)
        rows = np.tile(self.counts, (len(asking), 1))
        slack = float(np.minimum(self.counts, 0.0).sum())  # where none of them is withheld
        rows[np.arange(len(asking)), asking] -= bound - slack
        return rows, np.full(len(asking), slack)


def fewest_withheld(cost: Floats, forced: Bools, rooms: Sequence[Room], clock: Clock) -> Bools:
    """Choose the cheapest groups to withhold that leave room enough.

    Parameters
    ----------
    cost : float array, shape (groups,)
        What withholding each costs.
    forced : bool array, shape (groups,)
        Groups that cannot be told anyway.
    rooms : sequence of Room
        What those withheld need to hold.
    clock : Clock
        The time that is left.

    Returns
    -------
    bool array, shape (groups,); all of them where nothing less will do
    """
    if all(room.fits(forced) for room in rooms):
        return forced
    parts = [room.rows() for room in rooms]
    rows, least = (np.concatenate(part) for part in zip(*parts, strict=True))
    chosen = clock.solve(cost, rows, least, forced)
    if chosen is not None and all(room.fits(chosen) for room in rooms):
        return chosen
    withheld = forced.copy()
    for group in np.argsort(cost, kind="stable").tolist():
        if all(room.fits(withheld) for room in rooms):
            break
        withheld[group] = True
    return withheld
