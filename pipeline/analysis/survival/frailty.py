"""Cox regression in which levels of a column, such as sites, differ at random."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import optimize

from pipeline.analysis.survival.cox import CoxLikelihood, CoxState
from pipeline.analysis.survival.curve_limits import Z
from pipeline.analysis.survival.event_counts import Floats
from pipeline.analysis.survival.fitting import maximise, refuse_separation
from pipeline.analysis.survival.model_data import (
    ModelData,
    ModelFit,
    NotEstimableError,
    solve,
)

FEWEST_LEVELS = 3
SMALLEST, LARGEST = 1e-6, 25.0  # variances on the log hazard that are tried
DEVIANCE = 3.841458820694124  # of 95% limits: chi-square with one degree of freedom


@dataclass(frozen=True)
class LevelHazard:
    """Hazard at a level over that of the typical one, drawn towards one, with 95% limits."""

    level: str
    ratio: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Frailty:
    """How much the levels of a column differ: a normal law of their log hazards.

    `sd` is its standard deviation, zero where they differ no more than chance would have
    them; `lower` and `upper` are 95% profile limits, `upper` infinite where there is none.
    """

    term: str
    sd: float
    lower: float
    upper: float
    levels: tuple[LevelHazard, ...]


def frailty_cox(
    data: ModelData, term: str, levels: Sequence[str], *, reason: str = ""
) -> tuple[ModelFit, Frailty]:
    r"""Fit the hazard of one reason with a normal random effect of each level.

    The partial likelihood is penalised by :math:`b^T b / 2\sigma^2`, and the variance is that
    of the highest restricted marginal likelihood (Laplace's approximation), at which
    :math:`\sigma^2 = (b^T b + \mathrm{tr}\, H^{-1}_{bb}) / q`. Errors are those of the
    penalised information; the levels stand for the clustering, so they are not robust.

    Parameters
    ----------
    data : ModelData
        Its design ends with an indicator of each level, none left out.
    term : str
        Name of the column.
    levels : sequence of str
        Its q levels.
    reason : str
        Code of the reason, carried into the result.

    Raises
    ------
    NotEstimableError
        If there are fewer than three levels, or the data do not determine the model.

    References
    ----------
    Ripatti and Palmgren 2000, Biometrics 56:1016-1022 (recalled, not retrieved); figures of R's
    coxph with a gaussian frailty in tests/reference.
    """
    if len(levels) < FEWEST_LEVELS:
        raise NotEstimableError(
            f"A random effect needs {FEWEST_LEVELS} levels or more; there are {len(levels)}."
        )
    if data.events == 0:
        raise NotEstimableError("No catheter was removed for this reason.")
    surface = _Surface(data, len(levels))
    found = surface.at(surface.variance)
    refuse_separation(data, found.beta)
    return _model_fit(surface, found, reason), _frailty(surface, found, term, levels)


@dataclass(frozen=True)
class _Penalised:
    """The penalised likelihood at coefficients `beta`; `weight` is one over each variance."""

    state: CoxState
    beta: Floats
    weight: Floats

    @property
    def log_likelihood(self) -> float:
        return self.state.log_likelihood - float(self.weight @ self.beta**2) / 2

    def score(self) -> Floats:
        total: Floats = self.state.score() - self.weight * self.beta
        return total

    def information(self) -> Floats:
        total: Floats = self.state.information() + np.diag(self.weight)
        return total


@dataclass(frozen=True)
class _Fitted:
    """The highest point for one variance."""

    beta: Floats
    top: _Penalised
    information: Floats
    variance: float
    null: float
    iterations: int
    fixed: int

    @cached_property
    def covariance(self) -> Floats:
        return solve(self.information, np.eye(len(self.beta)))

    @property
    def random(self) -> Floats:
        """Log hazards of the levels, shape (q,)."""
        return self.beta[self.fixed :]

    @property
    def trace(self) -> float:
        return float(np.trace(self.covariance[self.fixed :, self.fixed :]))

    @property
    def marginal(self) -> float:
        """Twice the restricted marginal log-likelihood of the variance."""
        _, logdet = np.linalg.slogdet(self.information)
        q = len(self.random)
        return 2 * self.top.log_likelihood - q * float(np.log(self.variance)) - float(logdet)


class _Surface:
    """The fits of one set of data at any variance."""

    def __init__(self, data: ModelData, q: int) -> None:
        self.data, self.q = data, q
        self.fixed = len(data.design.columns) - q
        self._likelihood = CoxLikelihood.of(data)
        self._fits: dict[float, _Fitted] = {}

    def at(self, variance: float) -> _Fitted:
        """Fit coefficients and levels at a variance."""
        if variance not in self._fits:
            weight = np.repeat([0.0, 1 / variance], [self.fixed, self.q])
            k = len(weight)
            top = maximise(
                lambda beta: _Penalised(self._likelihood.at(beta), beta, weight),
                k,
                self.data.events,
            )
            self._fits[variance] = _Fitted(
                top.coefficients, top.state, top.information, variance, top.null,
                top.iterations, self.fixed,
            )  # fmt: skip
        return self._fits[variance]

    def _excess(self, log_variance: float) -> float:
        """Say whether the variance should be larger (above zero) or smaller."""
        fit = self.at(float(np.exp(log_variance)))
        return float(fit.random @ fit.random + fit.trace) / (self.q * fit.variance) - 1

    @cached_property
    def variance(self) -> float:
        """The variance of highest restricted likelihood; the smallest tried for none."""
        low, high = np.log(SMALLEST), np.log(LARGEST)
        if self._excess(low) <= 0:
            return SMALLEST
        if self._excess(high) >= 0:
            raise NotEstimableError("The levels differ without end: no random effect fits.")
        return float(np.exp(optimize.brentq(self._excess, low, high, xtol=1e-13, rtol=1e-13)))

    def limits(self) -> tuple[float, float]:
        """Return 95% profile limits of the variance; zero and infinity at the ends."""
        best = self.at(self.variance).marginal
        low, high = float(np.log(SMALLEST)), float(np.log(LARGEST))
        middle = float(np.log(self.variance))

        def short(log_variance: float) -> float:
            return best - self.at(float(np.exp(log_variance))).marginal - DEVIANCE

        lower = _root(short, low, middle) if middle > low and short(low) > 0 else -np.inf
        upper = _root(short, middle, high) if short(high) > 0 else np.inf
        return float(np.exp(lower)), float(np.exp(upper))


def _root(short: Callable[[float], float], low: float, high: float) -> float:
    return float(optimize.brentq(short, low, high, xtol=1e-4))


def _model_fit(surface: _Surface, found: _Fitted, reason: str) -> ModelFit:
    data, fixed = surface.data, surface.fixed
    covariance = found.covariance[:fixed, :fixed]
    baseline = found.top.state.baseline()
    return ModelFit(
        model="cox",
        reason=reason,
        columns=data.design.columns[:fixed],
        coefficients=found.beta[:fixed],
        covariance=covariance,
        model_based_se=np.sqrt(np.diag(covariance)),
        episodes=data.episodes,
        events=data.events,
        children=data.children,
        log_likelihood=found.top.state.log_likelihood,
        null_log_likelihood=found.null,
        iterations=found.iterations,
        baseline=replace(baseline, centre=baseline.centre[:fixed]),
    )


def _frailty(surface: _Surface, found: _Fitted, term: str, levels: Sequence[str]) -> Frailty:
    lower, upper = surface.limits()
    error = np.sqrt(np.diag(found.covariance)[surface.fixed :])
    ratios = np.exp([found.random, found.random - Z * error, found.random + Z * error])
    return Frailty(
        term,
        float(np.sqrt(found.variance)) if found.variance > SMALLEST else 0.0,
        float(np.sqrt(lower)),
        float(np.sqrt(upper)),
        tuple(LevelHazard(*one) for one in zip(levels, *ratios.tolist(), strict=True)),
    )
