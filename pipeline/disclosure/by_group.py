"""Which groups' figures of a year are told beside the whole network's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.disclosure.choice import Bools, Clock, Room, fewest_withheld
from pipeline.disclosure.frozen import SITES, Floats, Span
from pipeline.disclosure.telling import Pair, Rules
from pipeline.disclosure.told import BESIDE, PARTNER, Decision, Told


@dataclass
class Family:
    """The groups of one family, and whose figures are told.

    Attributes
    ----------
    rules : Rules
        What may be told.
    told : Told
        What was told before; what is told now is added.
    name : str
        Of the family.
    clock : Clock
        The time that is left for choosing.
    decided : list of int
        Items decided so far.
    """

    rules: Rules
    told: Told
    name: str
    clock: Clock
    decided: list[int] = field(default_factory=list)

    def tell(self, items: Sequence[int], quarter: int) -> list[Decision]:
        """Decide, item by item, whose figures are told; the weightiest item first.

        Parameters
        ----------
        items : sequence of int
            Those told of the whole network up to this quarter.
        quarter : int
            Its place in the history; the last of a year.
        """
        history, decisions = self.rules.history, list[Decision]()
        for item in sorted(items, key=lambda i: -history.items[i].weight):
            span = (self.told.next_year(self.name, item), quarter)
            names = (history.quarters[span[0]], history.quarters[span[1]])
            decisions += [
                Decision(history.items[item].name, self.name, group, *names, why)
                for group, why in zip(
                    history.groups[self.name], self._decide(item, span), strict=True
                )
            ]
        return decisions

    def _decide(self, item: int, span: Span) -> list[str]:
        """Say of each group why it is withheld; empty where it is told."""
        why = self.rules.why_not(item, span, self.name)
        if not self._roundings_agree(item, span):
            why = [PARTNER] * len(why)
        rooms = self._own_rooms(item, span)
        for pair, common in self._pairs(item, span):
            clash, room = self._beside(pair, item, common)
            why = [BESIDE if c and not w else w for c, w in zip(clash, why, strict=True)]
            rooms.append(room)
        events = self.rules.history.sums("events", item, span, self.name)
        cost = 1.0 + events / (events.sum() + 1.0)
        forced = np.array([bool(words) for words in why])
        withheld = fewest_withheld(cost, forced, rooms, self.clock)
        self.told.told_groups(self.name, item, span)[:] = ~withheld
        self.decided.append(item)
        return [(w or PARTNER) if hidden else "" for w, hidden in zip(why, withheld, strict=True)]

    def _roundings_agree(self, item: int, span: Span) -> bool:
        """Whether the whole as rounded by group and by site could be any of enough numbers."""
        if self.name == SITES:
            return True
        low, _, high = self.rules.history.window(item, span, self.name)
        whole_low, _, whole_high = self.rules.history.window(item, span)
        overlap = min(high.sum() - whole_low[0], whole_high[0] - low.sum())
        return bool(overlap > self.rules.threshold // 2)

    def _own_rooms(self, item: int, span: Span) -> list[Room]:
        """Return what the groups withheld of one item have to hold."""
        history, threshold = self.rules.history, float(self.rules.threshold)
        kind = history.items[item]
        low, _, high = history.window(item, span, self.name)
        every = np.ones(len(low), bool)
        rooms = [Room(np.ones(len(low)), 2.0, every)]  # one alone is the whole less the others
        events = history.sums("events", item, span, self.name) * kind.is_counted
        if kind.is_counted:
            children = np.minimum(history.sums("children", item, span, self.name), events)
            rooms.append(Room(children, threshold, events > 0))
        has_others = kind.is_counted and kind.has_others
        least, without = (threshold, events) if has_others else (0.0, np.zeros(len(low)))
        if self.name == SITES:
            rooms.append(Room(low - without, least, every))
        else:  # rounded apart from the sites: what is told must leave room below the whole
            rest = float(history.window(item, span)[0][0] - high.sum())
            rooms.append(Room(high - without, least, every, rest, is_asked=True))
        return rooms

    def _pairs(self, item: int, span: Span) -> Iterator[tuple[Pair, Span]]:
        """Return the pairs of this item with those decided, and the span that both cover."""
        for pair in self.rules.pairs:
            (a, _), (b, _) = pair
            other = b if a == item else a
            if item not in (a, b) or other not in self.decided:
                continue
            mine, theirs = (
                {first for first, _ in self.told.spans[self.name, i]} for i in (item, other)
            )
            common = (mine | {span[0]}) & theirs
            if common:
                yield pair, (max(common), span[1])

    def _beside(self, pair: Pair, item: int, common: Span) -> tuple[Bools, Room]:
        """Say which groups cannot be told beside the other item, and what the rest needs."""
        (a, a_is_base), (b, b_is_base) = pair
        known = self._known(b if a == item else a, common) & self._known(item, common)
        counts, is_bad = self.rules.between(pair, common, self.name)
        asks, always = np.ones(len(known), bool), 0.0
        if not a_is_base and not b_is_base:
            sums = self.rules.history.sums
            asks = counts != 0
            asks |= sums("events", b, common, self.name) != sums("events", a, common, self.name)
        elif self.name != SITES:
            counts, always = self._apart(pair, common)
        room = Room(
            np.where(known, counts, 0.0),
            self.rules.threshold,
            asks & known,
            always + float(counts[~known].sum()),
            bool(asks[~known].any()),
        )
        return is_bad & known, room

    def _apart(self, pair: Pair, common: Span) -> tuple[Floats, float]:
        """Return what groups, and the whole, add to what lies between, both rounded apart."""
        (a, a_is_base), (b, _) = pair
        history, base = self.rules.history, a if a_is_base else b
        low, _, high = history.window(base, common, self.name)
        whole_low, _, whole_high = history.window(base, common)
        events = history.sums("events", b if a_is_base else a, common, self.name)
        if a_is_base:
            return events - low, float(low.sum() - whole_high[0])
        return high - events, float(whole_low[0] - high.sum())

    def _known(self, item: int, common: Span) -> Bools:
        """Say which groups have been told of in all of a span, but for what is decided now."""
        parts = [
            groups
            for span, groups in self.told.spans[self.name, item].items()
            if common[0] <= span[0] and span[1] <= common[1]
        ]
        every = np.ones(len(self.told.history.groups[self.name]), bool)
        return np.logical_and.reduce([every, *parts])
