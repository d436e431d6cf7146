"""Which of a quarter's figures are told: the rules that make a release safe.

What is told is a system of cells, and all else of a release follows from them. An item's
events are told exactly, for a quarter or for the rest of a year (or of several), never
for spans that overlap, and by group for whole years only. So a reader knows sums over
rectangles of catheters, each of nobody or of at least the threshold, and any other sum
could be at least as many numbers as that. Denominators are told rounded
(`History.window`). Items whose events imply one another are told so that what lies
between them is nobody or as many, too. `docs/disclosure.md` has the proof.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.disclosure.choice import Clock, farthest_apart
from pipeline.disclosure.frozen import NETWORK, Floats, History, Span
from pipeline.disclosure.told import (
    BESIDE,
    FEW_KNOWN,
    FEW_WITH,
    FEW_WITHOUT,
    WAITS,
    Decision,
    Told,
)

# An item by its place, and whether its denominator is meant; the first implies the second.
Pair = tuple[tuple[int, bool], tuple[int, bool]]


class Rules:
    """What may be told of counts of few children.

    Parameters
    ----------
    history : History
        The counts.
    threshold : int
        Fewest children of a count that is told.
    """

    def __init__(self, history: History, threshold: int) -> None:
        self.history, self.threshold = history, threshold
        index = {item.name: i for i, item in enumerate(history.items)}
        pairs = [(_of(inner, index), _of(outer, index)) for inner, outer in history.implied]
        self.pairs: list[Pair] = [p for p in pairs if self._can_tell(*p)]

    def _can_tell(self, inner: tuple[int, bool], outer: tuple[int, bool]) -> bool:
        """Whether figures of two items could tell what lies between them."""
        (a, a_is_base), (b, b_is_base) = inner, outer
        if a == b or a < 0 or b < 0 or (a_is_base and b_is_base):
            return False  # windows are wide enough for what lies between denominators
        one, other = self.history.items[a], self.history.items[b]
        if not a_is_base and not b_is_base:
            return one.is_counted and other.is_counted
        base, exact = (one, other) if a_is_base else (other, one)
        return base.base == "catheters" and exact.is_single and exact.is_counted

    def why_not(self, item: int, span: Span, family: str = NETWORK) -> list[str]:
        """Say, group by group, why a figure cannot be told by itself; empty where it can."""
        sums = {
            name: self.history.sums(name, item, span, family)
            for name in ("children", "others", "known", "events")
        }
        low, _, _ = self.history.window(item, span, family)
        kind = self.history.items[item]
        few = (sums["events"] > 0) & (np.minimum(sums["children"], sums["events"]) < self.threshold)
        unknown = np.minimum(sums["known"], low) < self.threshold
        others = np.minimum(sums["others"], low - sums["events"]) < self.threshold
        if not kind.is_counted:
            few, others = np.zeros_like(few), np.zeros_like(others)
        if not kind.has_others:
            others = np.zeros_like(others)
        words = [(few, FEW_WITH), (unknown, FEW_KNOWN), (others, FEW_WITHOUT)]
        return [next((why for flags, why in words if flags[g]), "") for g in range(len(few))]

    def between(
        self, pair: Pair, span: Span, family: str = NETWORK
    ) -> tuple[Floats, NDArray[np.bool_]]:
        """Count who has the second of a pair and not the first, as far as can be told.

        Returns
        -------
        children : float array, shape (groups,)
            At least so many.
        is_bad : bool array, shape (groups,)
            They are few.
        """
        (a, a_is_base), (b, b_is_base) = pair
        sums = self.history.sums
        if a_is_base:
            gap = sums("events", b, span, family) - self.history.window(a, span, family)[2]
        elif b_is_base:
            gap = self.history.window(b, span, family)[0] - sums("events", a, span, family)
        else:
            return self._between_events(a, b, span, family)
        return gap, gap < self.threshold

    def _between_events(
        self, a: int, b: int, span: Span, family: str
    ) -> tuple[Floats, NDArray[np.bool_]]:
        """Count who has an event of `b` and none of `a`, where the second imply the first."""
        sums, items = self.history.sums, self.history.items
        gap = sums("children", b, span, family) - sums("children", a, span, family)
        events = sums("events", b, span, family) - sums("events", a, span, family)
        is_bad = (gap < self.threshold) & (gap != 0) | (events > 0) & (events < self.threshold)
        if items[a].is_single and items[b].is_single:  # events are catheters
            is_bad |= (events != 0) & (gap < self.threshold)
        return gap, is_bad


def _of(name: str, index: dict[str, int]) -> tuple[int, bool]:
    return index.get(name.removesuffix("*"), -1), name.endswith("*")


def tell_network(
    rules: Rules, told: Told, quarter: int, clock: Clock
) -> tuple[list[Decision], list[int]]:
    """Decide what is told of the whole network at the end of a quarter.

    Parameters
    ----------
    rules : Rules
        What may be told.
    told : Told
        What was told before; what is told now is added.
    quarter : int
        Its place in the history.
    clock : Clock
        The time that is left for choosing.

    Returns
    -------
    decisions : list of Decision
        One an item.
    items : list of int
        Those that are told.
    """
    history = rules.history
    spans, why = _candidates(rules, told, quarter)
    able = [item for item in spans if not why[item]]
    clashes = [
        (able.index(a), able.index(b))
        for pair in rules.pairs
        for (a, _), (b, _) in [pair]
        if a in able and b in able and _clash(rules, told, pair, spans)
    ]
    weights = np.array([history.items[item].weight for item in able])
    for item, is_told in zip(able, farthest_apart(weights, clashes, clock), strict=True):
        if is_told:
            told.blocks[item].append(spans[item])
        else:
            why[item] = BESIDE
    decisions = [
        Decision(
            history.items[item].name, NETWORK, NETWORK, *_names(history, span), why[item]
        )
        for item, span in spans.items()
    ]  # fmt: skip
    return decisions, [item for item in spans if not why[item]]


def _candidates(rules: Rules, told: Told, quarter: int) -> tuple[dict[int, Span], dict[int, str]]:
    """Return the span that each item could be told of, and why it cannot by itself."""
    history, spans, why = rules.history, dict[int, Span](), dict[int, str]()
    is_year_end = history.is_year_end(quarter)
    for item, kind in enumerate(history.items):
        start = told.next_start(item)
        if start > quarter or (kind.is_yearly and not is_year_end):
            continue
        spans[item] = (start, quarter)
        is_due = start == quarter or is_year_end
        why[item] = rules.why_not(item, spans[item])[0] if is_due else WAITS
    return spans, why


def _clash(
    rules: Rules,
    told: Told,
    pair: Pair,
    spans: dict[int, Span],
) -> bool:
    """Whether telling both of a pair would tell of few, over the span that both cover."""
    (a, _), (b, _) = pair
    starts = [{span[0] for span in told.blocks[item]} | {spans[item][0]} for item in (a, b)]
    common = starts[0] & starts[1]
    if not common:
        return False
    return bool(rules.between(pair, (max(common), spans[a][1]))[1][0])


def _names(history: History, span: Span) -> tuple[str, str]:
    return history.quarters[span[0]], history.quarters[span[1]]


def tell_quarter(
    history: History,
    earlier: Sequence[Decision],
    quarter: int,
    *,
    threshold: int,
    clock: Clock,
) -> list[Decision]:
    """Decide all that is told when a quarter is first released.

    Parameters
    ----------
    history : History
        Counts of all quarters so far.
    earlier : sequence of Decision
        Those of the quarters before.
    quarter : int
        Its place in the history.
    threshold : int
        Fewest children of a count that is told.
    clock : Clock
        The time that is left for choosing.
    """
    from pipeline.disclosure.by_group import Family

    rules, told = Rules(history, threshold), Told(history, earlier)
    decisions, items = tell_network(rules, told, quarter, clock)
    if history.is_year_end(quarter):
        grouped = [item for item in items if history.items[item].is_grouped]
        for family in history.groups:
            decisions += Family(rules, told, family, clock).tell(grouped, quarter)
    return decisions
