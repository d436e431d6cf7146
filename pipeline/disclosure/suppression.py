"""The smallest set of cells to withhold, so that no withheld cell can be worked out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST_ROUNDS = 100
EASY_ROUNDS = 12
COST_GAP = 1e-3  # of the cheapest set's cost; looking for the last of it takes longest
TOTAL_COST = 8.0  # a total is worth this many cells; the programme's own choice


@dataclass
class System:
    """Cells bound by sums, and the smallest set of them to withhold.

    The choice is an integer programme whose cuts come from what a reader could
    work out: Fischetti and Salazar-González 2000, J Am Stat Assoc 95:916-928
    (method recalled, not retrieved).
    """

    values: Floats
    matrix: Floats
    needs: Floats  # width of the range a reader must be left with; 0 where none
    unseen: Bools
    fixed: Bools  # must stay shown
    cost: Floats

    @classmethod
    def of(
        cls,
        values: Floats,
        sight: NDArray[np.str_],
        small: Bools,
        *,
        sums: Floats,
        threshold: int,
    ) -> System:
        """Bind cells by a matrix of sums, one a row, the total counting -1 and parts 1."""
        is_total = (sums < 0).any(axis=0) if len(sums) else np.zeros(len(values), bool)
        # Half the threshold: a withheld count could be any of at least so many numbers.
        return cls(
            values=values,
            matrix=sums,
            needs=np.where(small, max(1.0, threshold // 2), 0.0),
            unseen=sight == "unseen",
            fixed=~small & ((sight == "known") | (values == 0)) & (sight != "unseen"),
            cost=np.where(is_total, TOTAL_COST, 1.0)
            * (1 + values / (values.sum() + 1) / len(values)),
        )

    def solve(self) -> Bools:
        """Return which cells to withhold."""
        cuts = self._first_cuts()
        for _ in range(MOST_ROUNDS):
            hidden = self._cheapest(cuts)
            if hidden is None:
                break
            found = self._cuts_for(hidden)
            if not found:
                return hidden
            cuts += found
        return np.ones(len(self.values), bool)

    def _first_cuts(self) -> list[tuple[Floats, float]]:
        """No sum may have one withheld cell alone."""
        cuts = []
        must = (self.needs > 0) | self.unseen
        for row in self.matrix:
            if must[row != 0].sum() >= 2:
                continue  # two are withheld anyway
            for i in np.flatnonzero(row):
                cut = (row != 0).astype(float)
                cut[i] = -1.0
                if not self.unseen[i] or self.needs[i] > 0:
                    cuts.append((cut, 0.0))
        return cuts

    def _cheapest(self, cuts: list[tuple[Floats, float]]) -> Bools | None:
        """Choose the cheapest set that meets every cut; None where there is none."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        must = (self.needs > 0) | self.unseen
        bounds = Bounds(must.astype(float), np.where(self.fixed & ~must, 0.0, 1.0))
        rows = csr_array(np.array([cut for cut, _ in cuts]).reshape(-1, len(self.values)))
        least = np.array([bound for _, bound in cuts])
        constraints = [LinearConstraint(rows, least, np.inf)] if len(cuts) else []
        answer = milp(
            self.cost,
            integrality=1,
            bounds=bounds,
            constraints=constraints,
            options={"mip_rel_gap": COST_GAP},
        )
        return None if answer.x is None else answer.x > 0.5

    def _cuts_for(self, hidden: Bools) -> list[tuple[Floats, float]]:
        """Play the reader: find withheld cells that can be narrowed down too far."""
        required = np.where(self.needs > 0, self.needs, (hidden & ~self.unseen).astype(float))
        low, high = self._easy_ranges(hidden, required)
        cuts = []
        for cell in np.flatnonzero(hidden & (required > 0)).tolist():
            if high[cell] - low[cell] >= required[cell]:
                continue
            capacity = np.zeros(len(self.values))
            for sign in (1.0, -1.0):
                aim = np.zeros(len(self.values))
                aim[cell] = sign
                moved, weight = self._furthest(aim, hidden)
                low, high = np.minimum(low, moved), np.maximum(high, moved)
                capacity += weight
            if high[cell] - low[cell] < required[cell] - 1e-6:
                cut, bound = np.minimum(capacity, required[cell]), required[cell]
                if self.needs[cell] == 0:  # only while this cell is withheld
                    cut[cell] -= bound
                    bound = 0.0
                cuts.append((cut, float(bound)))
        return cuts

    def _easy_ranges(self, hidden: Bools, required: Floats) -> tuple[Floats, Floats]:
        """Move many cells at once, in drawn directions: most are seen to have room."""
        low, high = np.zeros(len(self.values)), np.zeros(len(self.values))
        rng = np.random.default_rng(0)
        for _ in range(EASY_ROUNDS):
            short = hidden & (high - low < required)
            if short.sum() <= 2:
                break
            aim = np.where(short, rng.choice([-1.0, 1.0], size=len(low)), 0.0)
            reach = np.where(short, required, np.inf)
            moved, _ = self._furthest(aim, hidden, reach=reach)
            low, high = np.minimum(low, moved), np.maximum(high, moved)
        return low, high

    def _furthest(
        self, aim: Floats, hidden: Bools, *, reach: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """Move cells along `aim` as far as the sums (and a `reach`) allow.

        Also returns what each cell adds to that, which bounds it where cells are shown.
        """
        from scipy.optimize import linprog

        down, up = self._room()
        if reach is not None:
            down, up = np.minimum(down, reach), np.minimum(up, reach)
        columns = np.flatnonzero(hidden)
        cost = -aim
        sums = self.matrix if len(self.matrix) else None
        answer = linprog(
            cost[columns],
            A_eq=None if sums is None else sums[:, columns],
            b_eq=None if sums is None else np.zeros(len(sums)),
            bounds=np.column_stack([-down[columns], up[columns]]),
        )
        moved = np.zeros(len(self.values))
        moved[columns] = answer.x
        price = cost if sums is None else cost - answer.eqlin.marginals @ sums
        return moved, np.where(price < 0, -price * up, price * down)

    def _room(self) -> tuple[Floats, Floats]:
        """How far a reader who knows that zeros are shown can think a cell off its value."""
        least = np.where(self.unseen, 0.0, np.minimum(self.values, 1.0))
        return self.values - least, np.full(len(self.values), 2 * self.values.sum() + 100)
