"""A measure's episodes reduced to counts by group and case mix.

The store makes these sums with one ``group by``; after that nothing depends on
the number of episodes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import polars as pl

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NOT_RECORDED = "not recorded"


def added(weights: Floats, index: Ints, size: int = 0) -> Floats:
    """Add weights with the same index, 0 to `size` - 1 (to the largest index if more)."""
    sums: Floats = np.bincount(index, weights=weights, minlength=size).astype(float)
    return sums


@dataclass(frozen=True)
class Sums:
    """What is added up over the episodes of each row; arrays of one shape.

    Attributes
    ----------
    episodes : float array
        Episodes whose numerator is known.
    with_event : float array
        Those of them with at least one event.
    children, children_with_event : float array
        Of both, those that are the first of their child's: at least so many children
        are among them, and however rows are added up, at least their sum.
    missing_episodes, missing_denominator : float array
        Episodes whose numerator is missing, and their denominators.
    numerator, denominator : float array
        Sums over the episodes whose numerator is known.
    numerator_squared, cross_product, denominator_squared : float array
        Sums over the same episodes of y², y·d and d², which tell how far events
        cluster within an episode.
    """

    episodes: Floats
    with_event: Floats
    children: Floats
    children_with_event: Floats
    missing_episodes: Floats
    missing_denominator: Floats
    numerator: Floats
    denominator: Floats
    numerator_squared: Floats
    cross_product: Floats
    denominator_squared: Floats

    def added_by(self, index: Ints, size: int) -> Sums:
        """Add rows with the same index, 0 to `size` - 1."""
        return Sums(**{f.name: added(getattr(self, f.name), index, size) for f in fields(self)})

    def at(self, rows: Bools | Ints) -> Sums:
        """Keep some rows."""
        return Sums(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})


SUMS = tuple(f.name for f in fields(Sums))


@dataclass(frozen=True)
class PatternCounts:
    """Sums for every combination of some factors that occurs.

    Attributes
    ----------
    levels : mapping of str to tuple of str
        The labels of each factor, sorted.
    codes : mapping of str to int array, shape (rows,)
        Which label each row has.
    sums : Sums
        Arrays of shape (rows,).
    """

    levels: Mapping[str, tuple[str, ...]]
    codes: Mapping[str, Ints]
    sums: Sums

    def totals(self, factor: str) -> Sums:
        """Add up each label of a factor, in the order of its labels."""
        return self.sums.added_by(self.codes[factor], len(self.levels[factor]))

    def where(self, factor: str, label: str) -> PatternCounts:
        """Keep the rows with a label; factors keep only the labels that still occur."""
        rows = self.codes[factor] == self.levels[factor].index(label)
        codes = {name: code[rows] for name, code in self.codes.items()}
        return _occurring(self.levels, codes, self.sums.at(rows))

    def having(self, factor: str, labels: Sequence[str]) -> PatternCounts:
        """Keep the rows with one of some labels."""
        wanted = [i for i, label in enumerate(self.levels[factor]) if label in set(labels)]
        rows = np.isin(self.codes[factor], wanted)
        codes = {name: code[rows] for name, code in self.codes.items()}
        return _occurring(self.levels, codes, self.sums.at(rows))


@dataclass(frozen=True)
class Cells:
    """The combinations of factors that several measures are counted in.

    Attributes
    ----------
    levels, codes
        As in :class:`PatternCounts`, one code a cell.
    """

    levels: Mapping[str, tuple[str, ...]]
    codes: Mapping[str, Ints]

    @classmethod
    def from_frame(cls, frame: pl.DataFrame, factors: Sequence[str]) -> Cells:
        """Read a frame with a column a factor; a null label is "not recorded"."""
        levels, codes = {}, {}
        for factor in factors:
            labels = frame[factor].cast(str).fill_null(NOT_RECORDED)
            levels[factor] = tuple(labels.unique().sort().to_list())
            codes[factor] = labels.rank("dense").to_numpy().astype(np.int64) - 1
        return cls(levels, codes)

    def counts(self, cell: Ints, frame: pl.DataFrame) -> PatternCounts:
        """Put the sums of a measure, with the cell of each row, to the factors."""
        columns = {name: frame[name].fill_null(0).to_numpy().astype(float) for name in SUMS}
        codes = {name: code[cell] for name, code in self.codes.items()}
        return _occurring(self.levels, codes, Sums(**columns))


def _occurring(
    levels: Mapping[str, tuple[str, ...]], codes: Mapping[str, Ints], sums: Sums
) -> PatternCounts:
    """Drop the labels that no row has."""
    kept, renumbered = {}, {}
    for name, code in codes.items():
        present = np.bincount(code, minlength=len(levels[name])) > 0
        kept[name] = tuple(np.array(levels[name], object)[present].tolist())
        renumbered[name] = (np.cumsum(present) - 1)[code]
    return PatternCounts(kept, renumbered, sums)
