"""What has been told before of each figure, and why others are withheld."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.disclosure.frozen import NETWORK, History, Span

WAITS = "waits"
FEW_WITH = "few with"
FEW_WITHOUT = "few without"
FEW_KNOWN = "few known"
BESIDE = "beside another figure"
PARTNER = "beside another group"


@dataclass(frozen=True)
class Decision:
    """One figure of one span, and why it is withheld where it is.

    Attributes
    ----------
    item, family, group : str
        What it is of.
    first, last : str
        First and last quarter.
    why : str
        Empty where it is told.
    """

    item: str
    family: str
    group: str
    first: str
    last: str
    why: str


class Told:
    """What has been told of a history, and in which spans.

    Parameters
    ----------
    history : History
        The counts.
    decisions : iterable of Decision
        All that were made before.
    """

    def __init__(self, history: History, decisions: Iterable[Decision]) -> None:
        self.history = history
        self._index = {item.name: i for i, item in enumerate(history.items)}
        self._quarter = {quarter: t for t, quarter in enumerate(history.quarters)}
        self._group = {
            (family, group): g
            for family, groups in history.groups.items()
            for g, group in enumerate(groups)
        }
        self.blocks: dict[int, list[Span]] = defaultdict(list)
        self.spans: dict[tuple[str, int], dict[Span, NDArray[np.bool_]]] = defaultdict(dict)
        for decision in decisions:
            self._add(decision)

    def _add(self, decision: Decision) -> None:
        if decision.item not in self._index:
            return  # counted once, and no more
        item = self._index[decision.item]
        span = (self._quarter[decision.first], self._quarter[decision.last])
        if decision.family != NETWORK:
            group = self._group[decision.family, decision.group]
            self.told_groups(decision.family, item, span)[group] = not decision.why
        elif not decision.why:
            self.blocks[item].append(span)

    def told_groups(self, family: str, item: int, span: Span) -> NDArray[np.bool_]:
        """Return, to be changed, which groups are told of a span, shape (groups,)."""
        none = np.zeros(len(self.history.groups[family]), bool)
        return self.spans[family, item].setdefault(span, none)

    def next_start(self, item: int) -> int:
        """Return the first quarter that an item has not been told of."""
        blocks = self.blocks[item]
        return blocks[-1][1] + 1 if blocks else int(self.history.since[item])

    def next_year(self, family: str, item: int) -> int:
        """Return the first quarter that an item has not been told of by group."""
        ends = [last for _, last in self.spans[family, item]]
        return max(ends) + 1 if ends else int(self.history.since[item])
