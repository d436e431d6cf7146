"""One description of a model's terms: what each column of the design means.

Both models are made from it, so that a hazard ratio of the one can be read beside
that of the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analysis.survival.event_counts import Floats

EVENTS_PER_COEFFICIENT = 10  # fewer are not fitted; Peduzzi 1995, J Clin Epidemiol 48:1503-1510
ALIAS_TOLERANCE = 1e-9  # of a column's own length left after the columns before it


@dataclass(frozen=True)
class Coefficient:
    """One coefficient: a unit step of a number, or a level against the reference level."""

    term: str
    level: str | None
    reference: str | None


@dataclass(frozen=True)
class Design:
    """Covariate patterns as numbers.

    Attributes
    ----------
    matrix : float array, shape (p, k)
        One row a pattern, one column a coefficient.
    columns : tuple of Coefficient, length k
    """

    matrix: Floats
    columns: tuple[Coefficient, ...]

    @property
    def terms(self) -> tuple[str, ...]:
        """Terms in the order given, each once."""
        return tuple(dict.fromkeys(column.term for column in self.columns))

    def keep(self, which: Sequence[int]) -> Design:
        """Return the design with the columns at `which` only."""
        return Design(self.matrix[:, list(which)], tuple(self.columns[i] for i in which))


@dataclass(frozen=True)
class Coding:
    """How one term is turned into columns.

    `levels` are empty for a number; the first is the reference. Levels in `merged`
    have no column of their own: they stand with the reference.
    """

    term: str
    levels: tuple[str, ...]
    merged: frozenset[str] = frozenset()

    @property
    def own_columns(self) -> tuple[str, ...]:
        """Levels that have a column."""
        return tuple(level for level in self.levels[1:] if level not in self.merged)

    @property
    def columns(self) -> tuple[Coefficient, ...]:
        """Columns that the term takes."""
        if not self.levels:
            return (Coefficient(self.term, None, None),)
        reference = self.levels[0]
        return tuple(Coefficient(self.term, level, reference) for level in self.own_columns)

    def encode(self, values: pl.Series) -> Floats:
        """Turn values into the term's columns, shape (p, number of columns).

        Raises
        ------
        ValueError
            If a value is missing or not among the levels.
        """
        if values.null_count():
            raise ValueError(f"{self.term} has missing values")
        if not self.levels:
            return values.cast(pl.Float64).to_numpy()[:, None]
        text = as_text(values)
        if not text.is_in(list(self.levels)).all():
            raise ValueError(f"{self.term} has a value outside its levels")
        found = text.to_numpy()
        return np.column_stack(
            [np.asarray(found == level, float) for level in self.own_columns]
            or [np.empty((len(found), 0))]
        )


def code_terms(patterns: pl.DataFrame, terms: Sequence[str]) -> tuple[Coding, ...]:
    """Choose how each term is coded from the values that occur.

    Numbers go in as they are; codes and yes/no become one column a level, against
    the most frequent level (yes/no: against no).

    Parameters
    ----------
    patterns : DataFrame
        One row a covariate pattern, with the number of episodes in column `n`.
    terms : sequence of str
        Columns of `patterns`.

    Raises
    ------
    KeyError
        If a term is not a column.
    """
    return tuple(_coding(patterns, term) for term in terms)


def design(patterns: pl.DataFrame, codings: Sequence[Coding]) -> Design:
    """Make the design of `patterns`, one row each; missing values are refused."""
    blocks = [coding.encode(patterns[coding.term]) for coding in codings]
    matrix = np.column_stack(blocks) if blocks else np.empty((patterns.height, 0))
    return Design(matrix, tuple(column for coding in codings for column in coding.columns))


def aliased(matrix: Floats) -> list[int]:
    """Columns that tell nothing beyond a constant and the columns before them.

    Parameters
    ----------
    matrix : float array, shape (p, k)
    """
    basis = np.ones((matrix.shape[0], 1)) / max(np.sqrt(matrix.shape[0]), 1.0)
    found = []
    for j in range(matrix.shape[1]):
        column = matrix[:, j]
        rest = column - basis @ (basis.T @ column)
        rest -= basis @ (basis.T @ rest)
        size = float(np.linalg.norm(rest))
        if size <= ALIAS_TOLERANCE * max(float(np.linalg.norm(column)), 1e-300):
            found.append(j)
        else:
            basis = np.column_stack([basis, rest / size])
    return found


def as_text(values: pl.Series) -> pl.Series:
    """Codes as text; booleans as yes and no."""
    if values.dtype == pl.Boolean:
        return values.replace_strict({True: "yes", False: "no"}, return_dtype=pl.String)
    return values.cast(pl.String)


def _coding(patterns: pl.DataFrame, term: str) -> Coding:
    if term not in patterns.columns:
        raise KeyError(term)
    values = patterns[term]
    if values.dtype.is_numeric():
        return Coding(term, ())
    counted = (
        patterns.select(as_text(values).alias("level"), "n")
        .drop_nulls("level")
        .group_by("level")
        .agg(pl.col("n").sum())
        .sort(["n", "level"], descending=[True, False])
    )
    levels = counted["level"].to_list()
    first = "no" if "no" in levels and set(levels) <= {"yes", "no"} else next(iter(levels), "")
    return Coding(term, (first, *(level for level in sorted(levels) if level != first)))
