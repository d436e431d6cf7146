"""Terms of a model that were not recorded, drawn from episodes alike by chained equations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import polars as pl

from pipeline.analysis.comparison.glm import fit_glm, inverse
from pipeline.analysis.survival.event_counts import Floats, Ints
from pipeline.analysis.survival.terms import as_text

CYCLES = 5
DONORS = 5
RIDGE = 1e-5  # keeps columns that tell the same apart


@dataclass(frozen=True)
class Term:
    """One term of every row: the place of its level, or its number.

    Attributes
    ----------
    name : str
    values : float array, shape (r,)
        Of rows without it: what stands there now.
    levels : Series, optional
        Its labels or yes and no; None for a number.
    absent : int array, shape (a,)
        Rows in which it was not recorded.
    """

    name: str
    values: Floats
    levels: pl.Series | None
    absent: Ints

    @classmethod
    def of(cls, values: pl.Series) -> Term:
        """Take a column with nulls; numbers stay numbers."""
        absent = np.flatnonzero(values.is_null().to_numpy())
        if values.dtype.is_numeric():
            return cls(values.name, values.cast(pl.Float64).to_numpy().copy(), None, absent)
        levels = values.drop_nulls().unique().sort()
        place = levels.search_sorted(values.fill_null(levels[0])).cast(pl.Float64).to_numpy()
        return cls(values.name, place.copy(), levels, absent)

    def filled(self, drawn: Floats) -> Term:
        """Put what was drawn in place of what was not recorded."""
        values = self.values.copy()
        values[self.absent] = drawn
        return replace(self, values=values)

    @property
    def series(self) -> pl.Series:
        """The term as a column again; numbers as floats."""
        if self.levels is None:
            return pl.Series(self.name, self.values)
        return self.levels.gather(self.values.astype(np.int64)).alias(self.name)

    def place(self, level: str | None) -> int:
        """Return the place of a level that is given as text."""
        assert self.levels is not None
        return as_text(self.levels).to_list().index(level)

    @cached_property
    def columns(self) -> Floats:
        """What other terms are predicted from, shape (r, levels less one, or 1)."""
        if self.levels is None:
            return self.values[:, None]
        found: Floats = (self.values[:, None] == np.arange(1, len(self.levels))).astype(float)
        return found


@dataclass(frozen=True)
class Completed:
    """One completed data set: its terms, and the chance each level had where it was drawn.

    `chances` are of shape (a, levels), by the name of the term; numbers have none.
    """

    terms: tuple[Term, ...]
    chances: dict[str, Floats]


def outcome_columns(hours: Floats, kinds: Ints, n: Ints) -> Floats:
    """Tell an outcome to the equations: whether it was each kind, and its hazard until then.

    Parameters
    ----------
    hours : float array, shape (r,)
    kinds : int array, shape (r,)
        0 for follow-up that ended without an event, else the kind of event.
    n : int array, shape (r,)
        Episodes.

    Returns
    -------
    float array, shape (r, 2 kinds)
        An indicator and the Nelson-Aalen cumulative hazard at the hour, of each kind.

    References
    ----------
    White and Royston 2009, Stat Med 28:1982-1998, as R's mice documents it.
    """
    distinct, at = np.unique(hours, return_inverse=True)
    at_risk = np.bincount(at, n)[::-1].cumsum()[::-1]
    found = []
    for kind in range(1, int(kinds.max(initial=0)) + 1):
        events = np.bincount(at, n * (kinds == kind), len(distinct))
        found += [(kinds == kind).astype(float), np.cumsum(events / at_risk)[at]]
    return np.column_stack(found) if found else np.empty((len(hours), 0))


def complete(
    terms: Sequence[Term], outcome: Floats, n: Ints, rng: np.random.Generator
) -> Completed:
    """Draw every term where it was not recorded, each from all others and the outcome, in turn.

    A label is drawn from logistic models of one level after the other, a number from the
    records whose predicted number is nearest; the coefficients are drawn first, so that what
    is imputed is as uncertain as the models are.

    Parameters
    ----------
    terms : sequence of Term
        Rows without a term stand for one episode each.
    outcome : float array, shape (r, q)
        As :func:`outcome_columns` gives it.
    n : int array, shape (r,)
        Episodes.

    References
    ----------
    van Buuren and Groothuis-Oudshoorn 2011, J Stat Softw 45(3) (recalled, not retrieved);
    checked against R's mice.
    """
    now = {term.name: term.filled(_any_known(term, n, rng)) for term in terms}
    chances: dict[str, Floats] = {}
    for _ in range(CYCLES):
        for term in (one for one in now.values() if len(one.absent)):
            others = [one.columns for one in now.values() if one is not term]
            design = np.column_stack([np.ones(len(n)), outcome, *others])
            if term.levels is None:
                drawn = _number(term, design, n, rng)
            else:
                chance = chances[term.name] = _chances(term, design, n, rng)
                drawn = drawn_level(chance, rng.random(len(chance)))
            now[term.name] = term.filled(drawn)
    return Completed(tuple(now.values()), chances)


def _known(term: Term) -> Ints:
    there = np.ones(len(term.values), bool)
    there[term.absent] = False
    return np.flatnonzero(there)


def _any_known(term: Term, n: Ints, rng: np.random.Generator) -> Floats:
    known = _known(term)
    drawn: Floats = term.values[rng.choice(known, len(term.absent), p=n[known] / n[known].sum())]
    return drawn


def _chances(term: Term, design: Floats, n: Ints, rng: np.random.Generator) -> Floats:
    """Give each row without the term a chance of each level, shape (a, levels)."""
    assert term.levels is not None
    left, wanted = _known(term), design[term.absent]
    rest = np.ones(len(wanted))
    found = np.zeros((len(wanted), len(term.levels)))
    often = np.argsort(-np.bincount(term.values[left].astype(int), n[left]), kind="stable")
    for level in often[:-1]:
        of_level = term.values[left] == level
        eta = wanted @ _drawn_logit(design[left], n[left] * of_level, n[left], rng)
        found[:, level] = rest / (1 + np.exp(-eta))
        rest = rest - found[:, level]
        left = left[~of_level]
    found[:, often[-1]] = rest
    return found


def _drawn_logit(X: Floats, y: Floats, d: Ints, rng: np.random.Generator) -> Floats:
    """Draw the coefficients of a logistic model, kept from running away.

    A few made-up episodes with and without the event, weighing as much together as the model
    has coefficients, are added on either side of the mean of each column.

    References
    ----------
    White, Daniel and Royston 2010, Comput Stat Data Anal 54:2267-2275 (the weights recalled,
    not retrieved).
    """
    weight = d / d.sum()
    mean = weight @ X
    spread = np.sqrt(weight @ (X - mean) ** 2)[1:]
    steps = np.column_stack([np.zeros(len(spread)), np.diag(spread)])
    added = np.concatenate([mean + steps, mean - steps])
    each = np.full(len(added), X.shape[1] / max(len(added), 1))
    fit = fit_glm(
        np.concatenate([X, added]), np.append(y, each / 2), np.append(d, each), "proportion"
    )
    drawn: Floats = rng.multivariate_normal(fit.coefficients, fit.covariance, method="eigh")
    return drawn


def drawn_level(chance: Floats, luck: Floats) -> Floats:
    """Return the place of a level for each row of chances, given how lucky it is (0 to 1)."""
    at = (luck[:, None] > chance.cumsum(axis=1)).sum(axis=1)
    place: Floats = np.minimum(at, chance.shape[1] - 1).astype(float)
    return place


def _number(term: Term, design: Floats, n: Ints, rng: np.random.Generator) -> Floats:
    """Draw numbers from records whose prediction is among the nearest (mean matching)."""
    known = _known(term)
    X, weight = design[known], n[known].astype(float)
    gram = (X * weight[:, None]).T @ X
    covariance = inverse(gram + RIDGE * np.diag(np.diag(gram)))
    beta = covariance @ (X.T @ (weight * term.values[known]))
    fitted = X @ beta
    df = max(weight.sum() - X.shape[1], 1.0)
    variance = float(weight @ (term.values[known] - fitted) ** 2) / rng.chisquare(df)
    moved = rng.multivariate_normal(beta, variance * covariance, method="eigh")
    return _nearest(
        np.repeat(fitted, n[known]),
        np.repeat(term.values[known], n[known]),
        design[term.absent] @ moved,
        rng,
    )


def _nearest(fitted: Floats, values: Floats, wanted: Floats, rng: np.random.Generator) -> Floats:
    """Take the value of one of the records whose fit is nearest to each wanted one."""
    order = rng.permutation(len(fitted))  # which of equals stands first is left to chance
    order = order[np.argsort(fitted[order], kind="stable")]
    fitted, donors = fitted[order], min(DONORS, len(fitted))
    middle = np.searchsorted(fitted, wanted)[:, None] + np.arange(-donors, donors)
    inside = (middle >= 0) & (middle < len(fitted))
    place = np.clip(middle, 0, len(fitted) - 1)
    away = np.where(inside, np.abs(fitted[place] - wanted[:, None]), np.inf)
    near = np.argsort(away, axis=1, kind="stable")[:, :donors]
    row = np.arange(len(wanted))
    chosen = place[row, near[row, rng.integers(donors, size=len(wanted))]]
    drawn: Floats = values[order[chosen]]
    return drawn
