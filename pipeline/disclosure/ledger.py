"""Every count of a report in one place, so that no two tables give one away."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.disclosure.policy import Policy
from pipeline.disclosure.suppression import System

Floats = NDArray[np.float64]
Key = Hashable
# How a count is seen: printed unless withheld; known to a reader whatever is done
# here (printed elsewhere); or never printed, but to be kept from being worked out.
Sight = Literal["shown", "known", "unseen"]


class Ledger:
    """Every count of a report, and which of them add up to which.

    Examples
    --------
    >>> ledger = Ledger(Policy(11))
    >>> for name, count in {"here": 7, "there": 30, "all": 37}.items():
    ...     ledger.count(name, count)
    >>> ledger.adds_up("all", ["here", "there"])
    >>> sorted(ledger.withheld())
    ['here', 'there']
    """

    def __init__(self, policy: Policy) -> None:
        self.policy = policy
        self._index: dict[Key, int] = {}
        self._values: list[float] = []
        self._sight: list[Sight] = []
        self._secret: list[bool] = []
        self._sums: list[tuple[int, tuple[int, ...]]] = []

    def count(
        self, key: Key, value: float, *, sight: Sight = "shown", is_secret: bool = False
    ) -> None:
        """Enter a count of children under a key that means the same in every table.

        A secret one is withheld whatever its value.

        Raises
        ------
        ValueError
            If the key was entered with another value, or the value is negative.
        """
        if value < 0:
            raise ValueError("a count is negative")
        if key in self._index:
            i = self._index[key]
            if self._values[i] != value:
                raise ValueError("one key was entered with two values")
            order = ("unseen", "shown", "known")
            self._sight[i] = max(self._sight[i], sight, key=order.index)
            self._secret[i] |= is_secret
            return
        self._index[key] = len(self._values)
        self._values.append(float(value))
        self._sight.append(sight)
        self._secret.append(is_secret)

    def adds_up(self, total: Key, parts: Iterable[Key]) -> None:
        """Say that a reader knows `total` to be the sum of `parts`; all were entered.

        Raises
        ------
        ValueError
            If it is not their sum.
        """
        whole, pieces = self._index[total], tuple(self._index[part] for part in parts)
        if abs(self._values[whole] - sum(self._values[i] for i in pieces)) > 1e-6:
            raise ValueError("parts do not add up to their total")
        self._sums.append((whole, pieces))

    def withheld(self) -> frozenset[Key]:
        """Return the keys of the counts that must not be shown."""
        values, sight = np.array(self._values), np.array(self._sight)
        hidden = np.zeros(len(values), bool)
        small = self.policy.is_small(values) | np.array(self._secret, bool)
        for cells, sums in _connected(len(values), self._sums):
            if small[cells].any():
                system = System.of(
                    values[cells],
                    sight[cells],
                    small[cells],
                    sums=sums,
                    threshold=self.policy.threshold,
                )
                hidden[cells] = system.solve()
        hidden &= sight != "unseen"
        return frozenset(key for key, i in self._index.items() if hidden[i])


def _connected(
    size: int, sums: Sequence[tuple[int, tuple[int, ...]]]
) -> Iterable[tuple[NDArray[np.int64], Floats]]:
    """Split cells into sets that share no sum; each with its matrix of sums."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    # Cells and sums are the points of a graph, each sum joined to its cells.
    pairs = [(size + row, cell) for row, (w, parts) in enumerate(sums) for cell in (w, *parts)]
    ends = np.array(pairs, np.int64).reshape(-1, 2)
    points = size + len(sums)
    graph = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(points, points))
    _, label = connected_components(graph, directed=False)
    members: dict[int, list[int]] = {}
    for cell in range(size):
        members.setdefault(int(label[cell]), []).append(cell)
    held: dict[int, list[int]] = {}
    for row in range(len(sums)):
        held.setdefault(int(label[size + row]), []).append(row)
    for key, cells in members.items():
        yield np.array(cells), _matrix(cells, [sums[row] for row in held.get(key, [])])


def _matrix(cells: list[int], sums: Sequence[tuple[int, tuple[int, ...]]]) -> Floats:
    """Write sums as rows: the total counts -1, its parts 1."""
    column = {cell: i for i, cell in enumerate(cells)}
    matrix = np.zeros((len(sums), len(cells)))
    for row, (whole, parts) in enumerate(sums):
        matrix[row, column[whole]] -= 1
        np.add.at(matrix[row], [column[part] for part in parts], 1)
    return matrix
