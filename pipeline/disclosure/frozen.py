"""The counts that a release is made from: quarter by quarter, as they first were.

A quarter's counts are frozen when the first release that covers it is made, small ones
included, and every later release is made from them. So no release says anything of what
was corrected since.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Span = tuple[int, int]
Base = Literal["catheters", "exposure"]

FIELDS = ("children", "others", "known", "events", "base")
NETWORK = "all"
SITES = "site"
# How many children an exposure's step stands for as many times as this: a catheter stays
# about three days, a family calls about as often.
EXPOSURE = 3.0


@dataclass(frozen=True)
class Item:
    """Something that is counted of every catheter.

    Attributes
    ----------
    name : str
        Its name in the ledger.
    weight : float
        What telling it is worth where two figures cannot both be told.
    base : str
        What the denominator counts: catheters, or an exposure (days, calls).
    has_others : bool
        The denominator less the events counts those without.
    is_single : bool
        No catheter has more than one event, so events are catheters.
    is_counted : bool
        It has events; else only its denominator is told.
    is_yearly : bool
        It is told at a year's end only.
    is_grouped : bool
        It is told by group as well.
    """

    name: str
    weight: float
    base: Base = "catheters"
    has_others: bool = True
    is_single: bool = True
    is_counted: bool = True
    is_yearly: bool = False
    is_grouped: bool = True


@dataclass(frozen=True, eq=False)
class History:
    """Frozen counts of every item by quarter and group.

    Attributes
    ----------
    items : tuple of Item
        What is counted.
    quarters : tuple of str
        In order, without a gap.
    groups : mapping of str to tuple of str
        The groups of each family; the sites are the first family and make the whole.
    values : mapping of str to float array, shape (fields, items, quarters, groups)
        Of each family, in the order of `FIELDS`: children with an event, children
        without, children whom it is known of (each counted at the first catheter only),
        events, denominator. NaN where an item was not counted yet.
    implied : frozenset of pairs of str
        Who has the first has the second, too, as far as the whole store shows. A name
        with a `*` stands for an item's denominator.
    step : int
        What denominators in catheters are rounded to.
    """

    items: tuple[Item, ...]
    quarters: tuple[str, ...]
    groups: Mapping[str, tuple[str, ...]]
    values: Mapping[str, Floats]
    implied: frozenset[tuple[str, str]]
    step: int = 10

    @cached_property
    def since(self) -> NDArray[np.int_]:
        """First quarter of each item, shape (items,)."""
        counted = ~np.isnan(self.values[SITES][0]).all(axis=-1)
        first: NDArray[np.int_] = np.where(
            counted.any(axis=1), counted.argmax(axis=1), len(self.quarters)
        )
        return first

    def is_year_end(self, quarter: int) -> bool:
        """Whether it is the last quarter of a year."""
        return self.quarters[quarter].endswith("Q4")

    def sums(self, field: str, item: int, span: Span, family: str = NETWORK) -> Floats:
        """Add a field up over the quarters of a span, first and last included.

        Returns
        -------
        float array, shape (groups,); one element for the network
        """
        values = self.values[SITES if family == NETWORK else family]
        found = values[FIELDS.index(field), item, span[0] : span[1] + 1].sum(axis=0)
        return np.array([found.sum()]) if family == NETWORK else np.asarray(found)

    def window(self, item: int, span: Span, family: str = NETWORK) -> tuple[Floats, Floats, Floats]:
        """Round denominators, a quarter and group at a time, and add them up.

        Only the middle is told; whatever else is told, a reader cannot say where between
        `low` and `high` the denominator lies.

        Returns
        -------
        low, middle, high : float arrays, shape (groups,)
        """
        values = self.values[SITES if family == NETWORK else family]
        exact = values[FIELDS.index("base"), item, span[0] : span[1] + 1]
        is_exposure = self.items[item].base == "exposure"
        step = self.step * (EXPOSURE if is_exposure else 1.0)
        middle = np.floor(exact / step + 0.5) * step
        low = np.maximum(middle - step / 2, 0.0)
        high = middle + step / 2 - (0.0 if is_exposure else 1.0)
        low, middle, high = (part.sum(axis=0) for part in (low, middle, high))
        if family == NETWORK:
            return np.array([low.sum()]), np.array([middle.sum()]), np.array([high.sum()])
        return low, middle, high
