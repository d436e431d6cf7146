"""A reader with every release, a calculator and a linear programme.

The reader knows what is told, how denominators are rounded, which kinds of catheters
there can be (which events imply which), and that counts are not negative. What is true
is a table of catheters by quarter, site, surgeon type and kind; every count that could be
asked for is a sum over it. The reader finds the least and the most that a count could be.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_array

from pipeline.disclosure.frozen import NETWORK, History, Item
from pipeline.disclosure.told import Decision

FEW = 10
ROOM = 5.0
"""A count that could be any of fewer numbers than this is recovered."""
ROUNDS = 25
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class World:
    """Catheters by quarter, site, surgeon type and kind; and what each kind has.

    Attributes
    ----------
    counts : int array, shape (quarters, sites, types, kinds)
    known, has : bool array, shape (kinds, items)
        Whether it is known of each kind, and whether there was an event.
    """

    items: tuple[Item, ...]
    counts: NDArray[np.int_]
    known: NDArray[np.bool_]
    has: NDArray[np.bool_]
    begins: int = 0  # quarter of the year

    def history(self, quarters: int | None = None) -> History:
        """Return the counts as they are frozen."""
        counts = self.counts[:quarters]
        at = range(self.begins, self.begins + len(counts))
        fields = (self.has, self.known & ~self.has, self.known, self.has, self.known)
        families = {"site": counts.sum(axis=2), "surgeon_type": counts.sum(axis=1)}
        return History(
            items=self.items,
            quarters=tuple(f"{2020 + t // 4}-Q{t % 4 + 1}" for t in at),
            groups={
                family: tuple(f"{family}{g}" for g in range(table.shape[1]))
                for family, table in families.items()
            },
            values={
                family: np.array(
                    [np.einsum("qgk,ki->iqg", table, field.astype(float)) for field in fields]
                )
                for family, table in families.items()
            },
            implied=self.implied(),
        )

    def implied(self) -> frozenset[tuple[str, str]]:
        """Return which sets hold which, as far as any catheter shows."""
        there = self.counts.sum(axis=(0, 1, 2)) > 0
        sets = {item.name: self.has[there, i] for i, item in enumerate(self.items)}
        sets |= {f"{item.name}*": self.known[there, i] for i, item in enumerate(self.items)}
        return frozenset(
            (a, b) for a, one in sets.items() for b, other in sets.items()
            if a != b and one.any() and not (one & ~other).any()
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Reader:
    """What a reader works out from what is told of a world.

    Attributes
    ----------
    equal, equal_to : the sums that are told exactly
    within, low, high : the sums that are told rounded
    """

    world: World
    equal: list[Floats]
    equal_to: list[float]
    within: list[Floats]
    low: list[float]
    high: list[float]

    @classmethod
    def of(cls, world: World, history: History, decisions: Sequence[Decision]) -> "Reader":
        """Read everything that is told."""
        reader = cls(world, [], [], [], [], [])
        for decision in decisions:
            if not decision.why:
                reader.read(history, decision)
        return reader

    def read(self, history: History, told: Decision) -> None:
        """Take in one figure: its events, and its denominator as rounded."""
        names = [item.name for item in history.items]
        item = names.index(told.item)
        span = (history.quarters.index(told.first), history.quarters.index(told.last))
        family = told.family
        g = 0 if family == NETWORK else history.groups[family].index(told.group)
        kind = history.items[item]
        if kind.is_counted and kind.is_single:
            self.equal.append(self.row(span, family, g, self.world.has[:, item]))
            self.equal_to.append(float(history.sums("events", item, span, family)[g]))
        if kind.base == "catheters":
            low, _, high = history.window(item, span, family)
            self.within.append(self.row(span, family, g, self.world.known[:, item]))
            self.low.append(float(low[g]))
            self.high.append(float(high[g]))

    def row(
        self, span: tuple[int, int], family: str, group: int, kinds: NDArray[np.bool_]
    ) -> Floats:
        """Return a sum over the table, flat."""
        mask = np.zeros(self.world.counts.shape)
        sites = group if family == "site" else slice(None)
        types = group if family == "surgeon_type" else slice(None)
        mask[span[0] : span[1] + 1, sites, types] = kinds.astype(float)
        return mask.ravel()

    def secrets(
        self, history: History, decisions: Sequence[Decision]
    ) -> Iterator[tuple[str, Floats]]:
        """Name every count of few that could be asked for, and its sum."""
        truth, world = self.world.counts.ravel(), self.world
        sets = dict(self._sets())
        place = {quarter: t for t, quarter in enumerate(history.quarters)}
        spans = {(t, t) for t in place.values()}
        spans |= {(place[d.first], place[d.last]) for d in decisions}
        places = [(NETWORK, 0)]
        places += [("site", s) for s in range(world.counts.shape[1])]
        places += [("surgeon_type", u) for u in range(world.counts.shape[2])]
        for name, kinds in sets.items():
            for span in sorted(spans):
                for family, group in places:
                    row = self.row(span, family, group, kinds)
                    if 0 < row @ truth <= FEW:
                        yield f"{name} {span} {family} {group}", row

    def _sets(self) -> Iterator[tuple[str, NDArray[np.bool_]]]:
        """Return what could be asked of a catheter."""
        world = self.world
        for i, item in enumerate(world.items):
            yield f"not known of {item.name}", ~world.known[:, i]
            if item.is_counted and item.is_single:
                yield f"{item.name}", world.has[:, i]
                yield f"without {item.name}", world.known[:, i] & ~world.has[:, i]
        for a, one in enumerate(world.items):
            for b, other in enumerate(world.items):
                both = one.is_counted and other.is_counted and one.is_single and other.is_single
                if a != b and both:
                    yield f"{one.name}, not {other.name}", world.has[:, a] & ~world.has[:, b]

    def recovered(
        self, history: History, decisions: Sequence[Decision], seed: int = 0
    ) -> list[str]:
        """Return the names of the counts of few that can be narrowed down too far."""
        named = list(self.secrets(history, decisions))
        if not named:
            return []
        rows = np.array([row for _, row in named])
        values = rows @ self.world.counts.ravel()
        low, high = values.astype(float), values.astype(float)
        rng = np.random.default_rng(seed)
        for _ in range(ROUNDS):  # many at once, in drawn directions: most are seen to have room
            short = high - low < ROOM
            if short.sum() <= 2:
                break
            found = rows @ self._furthest((rng.choice([-1.0, 1.0], len(rows)) * short) @ rows)
            low, high = np.minimum(low, found), np.maximum(high, found)
        for i in np.flatnonzero(high - low < ROOM).tolist():
            for sign in (1.0, -1.0):
                found = rows @ self._furthest(sign * rows[i])
                low, high = np.minimum(low, found), np.maximum(high, found)
        bad = np.floor(high + 1e-6) - np.ceil(low - 1e-6) < ROOM
        return [f"{named[i][0]}: {values[i]:g} in {low[i]:g} to {high[i]:g}"
                for i in np.flatnonzero(bad)]  # fmt: skip

    def _furthest(self, aim: Floats) -> Floats:
        """Return a table that tells the same, and in which an aim is as large as can be."""
        size = len(aim)
        within, equal = (np.array(rows).reshape(-1, size) for rows in (self.within, self.equal))
        answer = linprog(
            -aim,
            A_ub=csr_array(np.vstack([within, -within])),
            b_ub=np.concatenate([self.high, -np.array(self.low)]),
            A_eq=csr_array(equal),
            b_eq=self.equal_to,
            bounds=(0, float(self.world.counts.sum())),
        )
        assert answer.status == 0, answer.message
        return np.asarray(answer.x)
