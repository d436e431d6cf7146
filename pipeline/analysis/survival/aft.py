"""Accelerated failure time from intervals: by how much a covariate stretches time in place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse, special

from pipeline.analysis.survival.aft_family import FAMILIES, IntervalLikelihood
from pipeline.analysis.survival.curve_limits import Z
from pipeline.analysis.survival.event_counts import Floats, Ints
from pipeline.analysis.survival.fitting import maximise
from pipeline.analysis.survival.model_data import ALONE, solve
from pipeline.analysis.survival.terms import Coefficient, Design

NODES = 64  # of the rule that adds up the hours under a curve
FIRST_H = 0.25  # a removal at placement happened within the first quarter of an hour


@dataclass(frozen=True)
class IntervalData:
    """Episodes by covariate pattern and interval (after_h, before_h], counted.

    Attributes
    ----------
    design : Design
        One row a covariate pattern.
    pattern, n, child : int array, shape (r,)
        Row of the design, episodes, and number of the child (ALONE for only ones).
    after_h, before_h : float array, shape (r,)
        Equal for an exact hour; `before_h` infinite where the event is not known.
    """

    design: Design
    pattern: Ints
    after_h: Floats
    before_h: Floats
    n: Ints
    child: Ints

    @property
    def events(self) -> int:
        """Episodes with the event."""
        return int(self.n[np.isfinite(self.before_h)].sum())


@dataclass(frozen=True)
class AftFit:
    """A fitted family. Time ratios above one mean longer in place.

    `coefficients` are an intercept (log hours), one a column, and the log scale;
    `covariance` is clustered on the child.
    """

    family: str
    columns: tuple[Coefficient, ...]
    coefficients: Floats
    covariance: Floats
    episodes: int
    events: int
    log_likelihood: float

    @property
    def aic(self) -> float:
        """Akaike's criterion; the least of some families fits best for its size."""
        return 2 * len(self.coefficients) - 2 * self.log_likelihood

    @property
    def se(self) -> Floats:
        """Robust standard errors of all coefficients, shape (k + 2,)."""
        root: Floats = np.sqrt(np.diag(self.covariance))
        return root

    @property
    def time_ratio(self) -> tuple[Floats, Floats, Floats]:
        """Time ratios with their lower and upper limits, shape (k,) each."""
        beta, half = self.coefficients[1:-1], Z * self.se[1:-1]
        return np.exp(beta), np.exp(beta - half), np.exp(beta + half)

    @property
    def p_value(self) -> Floats:
        """Two-sided Wald p-values, shape (k,)."""
        p: Floats = 2 * special.ndtr(-np.abs(self.coefficients[1:-1]) / self.se[1:-1])
        return p

    def still_in_place(self, patterns: Floats, hours: Floats) -> Floats:
        """Proportion without the event by each hour, shape (patterns, hours)."""
        location = _with_intercept(patterns) @ self.coefficients[:-1]
        z = (np.log(hours)[None, :] - location[:, None]) / np.exp(self.coefficients[-1])
        curve: Floats = np.exp(FAMILIES[self.family].log_survival(z))
        return curve

    def mean_hours(self, patterns: Floats, until_h: float) -> tuple[Floats, Floats]:
        """Mean hours without the event up to an hour, and their slopes, (p,) and (p, k + 2)."""
        x, weight = np.polynomial.legendre.leggauss(NODES)
        hours, width = until_h * (x + 1) / 2, until_h * weight / 2

        def area(coefficients: Floats) -> Floats:
            fit = AftFit(**{**self.__dict__, "coefficients": coefficients})
            total: Floats = fit.still_in_place(patterns, hours) @ width
            return total

        steps = 1e-5 * np.eye(len(self.coefficients))
        slopes = [(area(self.coefficients + s) - area(self.coefficients - s)) / 2e-5 for s in steps]
        return area(self.coefficients), np.column_stack(slopes)


def fit_aft(data: IntervalData, families: Sequence[str] = tuple(FAMILIES)) -> tuple[AftFit, ...]:
    """Fit families to the intervals themselves, that with the least AIC first.

    Newton's method on the exact likelihood of each interval. lifelines and R's survreg
    maximise the same one (lifelines' log-logistic stops 1e-3 short of the maximum).

    Parameters
    ----------
    data : IntervalData
    families : sequence of str
        Keys of `FAMILIES`.

    Raises
    ------
    NotEstimableError
        If the data do not determine the coefficients.

    References
    ----------
    Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, chapter 3
    (recalled, not retrieved); figures of R's survreg in tests/reference.
    """
    return tuple(sorted((_fit(data, family) for family in families), key=lambda fit: fit.aic))


@dataclass(frozen=True)
class _State:
    """The likelihood at coefficients that are added to a start."""

    data: IntervalData
    likelihood: IntervalLikelihood
    x: Floats
    at: Floats

    def _parts(self) -> tuple[Floats, float]:
        return (self.x @ self.at[:-1])[self.data.pattern], float(self.at[-1])

    @property
    def log_likelihood(self) -> float:
        return float(self.data.n @ self.likelihood.rows(*self._parts())[0])

    def scores(self) -> Floats:
        """Score of one episode of each row, shape (r, k + 2)."""
        _, location, scale = self.likelihood.rows(*self._parts())
        return np.column_stack([self.x[self.data.pattern] * location[:, None], scale])

    def score(self) -> Floats:
        total: Floats = self.data.n @ self.scores()
        return total

    def information(self) -> Floats:
        n, p = self.data.n, len(self.x)
        parts = [
            self.x.T * np.bincount(self.data.pattern, n * second, p)
            for second in self.likelihood.curvature(*self._parts())
        ]
        corner = parts[2].sum(axis=1)[:1]
        inside, side = parts[0] @ self.x, parts[1].sum(axis=1)
        return -np.block([[inside, side[:, None]], [side[None, :], corner[None, :]]])

    def covariance(self) -> Floats:
        """Sandwich, scores added within a child."""
        scores, n, child = self.scores(), self.data.n, self.data.child
        alone = child == ALONE
        meat = (scores[alone] * n[alone, None]).T @ scores[alone]
        if not alone.all():
            _, number = np.unique(child[~alone], return_inverse=True)
            rows = np.arange(len(number))
            summed = sparse.csr_array((n[~alone].astype(float), (number, rows))) @ scores[~alone]
            meat = meat + summed.T @ summed
        information = self.information()
        inverse = solve(information, np.eye(len(information)))
        return inverse @ meat @ inverse


def _fit(data: IntervalData, family: str) -> AftFit:
    before = np.where(data.before_h == 0, FIRST_H, data.before_h)
    likelihood = IntervalLikelihood(FAMILIES[family], data.after_h, before)
    x = _with_intercept(data.design.matrix)
    centre = x.mean(axis=0) * (np.arange(x.shape[1]) > 0)
    middle = np.where(np.isfinite(before), (data.after_h + before) / 2, data.after_h)
    # Hours at risk for each event: where an exponential law would start.
    start = np.zeros(x.shape[1] + 1)
    start[0] = np.log(max(float(data.n @ middle), FIRST_H) / max(data.events, 1))
    start[-1] = 1.0
    top = maximise(
        lambda beta: _State(data, likelihood, x - centre, start + beta), len(start), data.events
    )
    at, turn = _as_time_ratios(start + top.coefficients)
    move = np.eye(len(start))
    move[0, : len(centre)] -= centre  # back to an intercept at zero
    turn = move @ turn
    return AftFit(
        family, data.design.columns, move @ at, turn @ top.state.covariance() @ turn.T,
        int(data.n.sum()), data.events, top.state.log_likelihood,
    )  # fmt: skip


def _as_time_ratios(at: Floats) -> tuple[Floats, Floats]:
    """Turn (m, rate) into (m / rate, -log rate), with the slopes of the turn."""
    rate = at[-1]
    turned = np.append(at[:-1] / rate, -np.log(rate))
    slopes = np.eye(len(at)) / rate
    slopes[:-1, -1] = -turned[:-1] / rate
    slopes[-1, -1] = -1 / rate
    return turned, slopes


def _with_intercept(patterns: Floats) -> Floats:
    return np.column_stack([np.ones(len(patterns)), patterns])
