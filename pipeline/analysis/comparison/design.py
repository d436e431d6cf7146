"""Covariate patterns and their design matrix: an intercept, and a column a level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipeline.analysis.comparison.glm import Design
from pipeline.analysis.comparison.pattern_counts import Floats, Ints, PatternCounts, added

MOST_DENSE = 2_000_000  # cells of a design; a larger one is kept sparse


@dataclass(frozen=True)
class Patterns:
    """The combinations of some terms that occur.

    Attributes
    ----------
    design : float array or sparse csr_array, shape (patterns, coefficients)
        First column the intercept; each term has a column a level, but for the
        level with most volume. Sparse where it is large.
    pattern : int array, shape (rows of the counts,)
        Which pattern each row of the counts has.
    """

    design: Design
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
    rows, columns, width = [np.arange(len(present))], [np.zeros(len(present), np.int64)], 1
    for code, levels in zip(codes, shape, strict=True):
        reference = int(np.argmax(added(volume, code, levels)))
        place = np.arange(levels) - (np.arange(levels) > reference) + width
        own = np.flatnonzero(code != reference)
        rows.append(own)
        columns.append(place[code[own]])
        width += levels - 1
    at = np.concatenate(rows), np.concatenate(columns)
    size = (len(present), width)
    if size[0] * size[1] > MOST_DENSE:
        return Patterns(sparse.csr_array((np.ones(len(at[0])), at), shape=size), pattern)
    design: Floats = np.zeros(size)
    design[at] = 1.0
    return Patterns(design, pattern)


def with_rows(first: Design, second: Floats) -> Design:
    """Put more rows under a design."""
    if sparse.issparse(first):
        return sparse.csr_array(sparse.vstack([first, sparse.csr_array(second)]))
    return np.vstack([first, second])


def with_columns(design: Design, *columns: Floats) -> Design:
    """Put more columns to the right of a design."""
    if sparse.issparse(design):
        right = sparse.csr_array(np.column_stack(columns)) if columns else None
        return sparse.csr_array(sparse.hstack([design, right])) if columns else design
    return np.column_stack([design, *columns])
