"""A removal model with the terms that were not recorded imputed, beside complete cases."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analysis.comparison.pooling import Pooled, nearest_turn, pool, refuse_few
from pipeline.analysis.survival.chained import (
    Completed,
    Term,
    complete,
    drawn_level,
    outcome_columns,
)
from pipeline.analysis.survival.event_counts import Floats, Ints
from pipeline.analysis.survival.terms import Coding, Coefficient, as_text

ODDS = (1.25, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0)  # of a level, that are tried
SPREADS = (0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0)  # of a number, in standard deviations
TINY = 1e-300

Estimate = Callable[[pl.DataFrame], tuple[Floats, Floats]]


@dataclass(frozen=True)
class ImputedTerm:
    """One coefficient put together over the imputations by Rubin's rules, as a ratio.

    Attributes
    ----------
    column : Coefficient
    ratio, lower, upper : float
        With 95% limits.
    missing_information : float
        Share of the information that is missing.
    not_recorded : int
        Episodes in which its term was imputed.
    turning_point : float
        Departure from missing at random, among the episodes with the event alone, nearest
        to none at which the limits lie on another side of 1: for a level the odds of it
        over those imputed, for a number what is added to it; NaN where none that is tried.
    """

    column: Coefficient
    ratio: float
    lower: float
    upper: float
    missing_information: float
    not_recorded: int
    turning_point: float


@dataclass(frozen=True)
class ImputedModel:
    """A model of all episodes, those with terms that were not recorded included."""

    imputations: int
    episodes: int
    terms: tuple[ImputedTerm, ...]


def within_levels(rows: pl.DataFrame, codings: Sequence[Coding]) -> pl.DataFrame:
    """Keep the rows of a model's levels, those that lack a term among them."""
    for coding in codings:
        if coding.levels:
            values = as_text(rows[coding.term])
            rows = rows.filter(values.is_null() | values.is_in(list(coding.levels)))
    return rows


def impute_model(
    rows: pl.DataFrame,
    columns: Sequence[Coefficient],
    estimate: Estimate,
    outcome: tuple[Floats, Ints],
    *,
    also: Sequence[str] = (),
    m: int,
    seed: int = 1,
) -> ImputedModel:
    """Fit a model to completed data sets and put the fits together.

    Parameters
    ----------
    rows : DataFrame
        Column `n` and the terms of the model, null where not recorded.
    columns : sequence of Coefficient
        Of the model.
    estimate : callable
        Gives coefficients and their variances, of completed rows.
    outcome : tuple of arrays, shape (rows,)
        Hours, and kinds of event: 1 the model's own, 0 none.
    also : sequence of str
        Columns without nulls that the terms are drawn from as well.
    m : int
        Imputations, at least 20.
    seed : int
        Of the random draws.

    Raises
    ------
    ValueError
        If `m` is below 20.
    NotEstimableError
        As `estimate` does.
    """
    refuse_few(m)
    names = list(dict.fromkeys(column.term for column in columns))
    at = _single_rows(rows, names)
    singles = rows[at].with_columns(
        n=pl.when(pl.any_horizontal(pl.col(names).is_null())).then(1).otherwise(pl.col("n"))
    )
    terms = [Term.of(singles[name]) for name in [*names, *also]]
    n, kinds, rng = singles["n"].to_numpy(), outcome[1][at], np.random.default_rng(seed)
    told = outcome_columns(outcome[0][at], kinds, n)
    made = [
        _Imputation(complete(terms, told, n, rng), singles, kinds == 1, rng.random((2, len(n))))
        for _ in range(m)
    ]
    found = pool(*_fits([one.rows() for one in made], estimate))
    absent = {term.name: len(term.absent) for term in terms}
    turns = [
        _turning_point(made, j, column, estimate, found) if absent[column.term] else np.nan
        for j, column in enumerate(columns)
    ]
    ratios = np.exp([found.estimate, found.lower, found.upper])
    parts = zip(columns, *ratios.tolist(), found.missing_information.tolist(), turns, strict=True)
    return ImputedModel(
        m,
        int(n.sum()),
        tuple(
            ImputedTerm(column, ratio, lower, upper, gone, absent[column.term], turn)
            for column, ratio, lower, upper, gone, turn in parts
        ),
    )


def _single_rows(rows: pl.DataFrame, names: Sequence[str]) -> Ints:
    """Return the places of rows, those that lack a term once for each of their episodes."""
    lacks = rows.select(pl.any_horizontal(pl.col(names).is_null())).to_series().to_numpy()
    found: Ints = np.repeat(np.arange(rows.height), np.where(lacks, rows["n"].to_numpy(), 1))
    return found


def _fits(frames: Sequence[pl.DataFrame], estimate: Estimate) -> tuple[Floats, Floats]:
    each = [estimate(frame) for frame in frames]
    return np.stack([one for one, _ in each]), np.stack([one for _, one in each])


@dataclass(frozen=True)
class _Imputation:
    """One completed data set, and how far its drawn terms can be moved.

    `luck` decides, for each row, whether a level is joined or left, and for which other.
    """

    made: Completed
    singles: pl.DataFrame
    has_event: np.ndarray
    luck: Floats

    def rows(self, name: str = "", level: str | None = None, by: float = 0.0) -> pl.DataFrame:
        """Return the completed rows, a drawn term moved among those with the event."""
        terms = [
            self._moved(term, level, by) if term.name == name and by else term
            for term in self.made.terms
        ]
        return self.singles.with_columns(term.series for term in terms)

    def _moved(self, term: Term, level: str | None, by: float) -> Term:
        now, moves = term.values[term.absent], self.has_event[term.absent]
        if term.levels is None:
            return term.filled(now + by * moves)
        place = term.place(level)
        chance, luck = self.made.chances[term.name], self.luck[:, term.absent]
        before = chance[:, place]
        after = before * np.exp(by) / (1 + before * np.expm1(by))
        with np.errstate(divide="ignore", invalid="ignore"):
            joins = (now != place) & (luck[0] < (after - before) / (1 - before))
            leaves = (now == place) & (luck[0] < (before - after) / before)
        others = chance * (np.arange(chance.shape[1]) != place)
        other = drawn_level(others / np.maximum(others.sum(axis=1, keepdims=True), TINY), luck[1])
        moved = np.where(joins, float(place), np.where(leaves, other, now))
        return term.filled(np.where(moves, moved, now))


def _turning_point(
    made: Sequence[_Imputation], j: int, column: Coefficient, estimate: Estimate, found: Pooled
) -> float:
    """Return how far from missing at random the finding on one coefficient turns."""

    def says(by: float) -> int:
        if not by:
            return int(found.side[j])
        frames = [one.rows(column.term, column.level, by) for one in made]
        return int(pool(*_fits(frames, estimate)).side[j])

    if column.level is not None:
        return float(np.exp(nearest_turn(says, np.log(ODDS).tolist())))
    term = next(one for one in made[0].made.terms if one.name == column.term)
    return nearest_turn(says, [step * float(np.std(term.values)) for step in SPREADS])
