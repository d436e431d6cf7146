"""Covariate patterns and their design matrix: an intercept, and a column a level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.pattern_counts import Floats, Ints, PatternCounts, added


@dataclass(frozen=True)
class Patterns:
    """The combinations of some terms that occur.

    Attributes
    ----------
    design : float array, shape (patterns, coefficients)
        First column the intercept; each term has a column a level, but for the
        level with most volume.
    pattern : int array, shape (rows of the counts,)
        Which pattern each row of the counts has.
    """

    design: Floats
    pattern: Ints


def coded(counts: PatternCounts, terms: Sequence[str]) -> Patterns:
    """Write the patterns of some terms as a design; one pattern without terms."""
    shape = [len(counts.levels[term]) for term in terms]
    key = np.zeros(len(counts.sums.numerator), np.int64)
    if terms:
        key = np.ravel_multi_index([counts.codes[term] for term in terms], shape)
    present, pattern = np.unique(key, return_inverse=True)
    volume = added(counts.sums.denominator, pattern, len(present))
    codes = np.unravel_index(present, shape) if terms else ()
    columns = [np.ones(len(present))]
    for code, levels in zip(codes, shape, strict=True):
        reference = int(np.argmax(added(volume, code, levels)))
        columns += [(code == k).astype(float) for k in range(levels) if k != reference]
    return Patterns(np.column_stack(columns), pattern)
