"""What both regression models do alike: climb to the maximum, refuse what is none, sum up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np

from pipeline.analysis.survival.event_counts import Floats
from pipeline.analysis.survival.influence import Influence, clustered_covariance
from pipeline.analysis.survival.model_data import (
    Baseline,
    Model,
    ModelData,
    ModelFit,
    NotEstimableError,
    solve,
)

MAX_ITERATIONS = 40
MAX_HALVINGS = 30
DECREMENT = 1e-14  # gain in log-likelihood per event below which one more step is the last
LOST = 1e-14  # a step below this share of the log-likelihood is rounding
RUN_AWAY = 15.0  # log hazard ratio over a covariate's range: three million
SEPARATED = (
    "The likelihood rises without end: a covariate separates the catheters removed for this "
    "reason from all others."
)


class LikelihoodAt(Protocol):
    """A likelihood at given coefficients, with k of them."""

    @property
    def log_likelihood(self) -> float:
        """Logarithm of the (partial) likelihood."""

    def score(self) -> Floats:
        """Return its first derivatives, shape (k,)."""

    def information(self) -> Floats:
        """Return its second derivatives, negative, shape (k, k)."""


class ModelState(LikelihoodAt, Protocol):
    """A hazard model's likelihood."""

    def influence(self) -> Influence:
        """Return what each episode adds to the score."""

    def baseline(self) -> Baseline:
        """Return the hazard at the covariates' centre."""


AnyState = TypeVar("AnyState", bound=LikelihoodAt)


@dataclass(frozen=True)
class Maximum(Generic[AnyState]):
    """Where a likelihood is highest; `null` is the log-likelihood at coefficients of zero."""

    coefficients: Floats
    state: AnyState
    information: Floats
    null: float
    iterations: int


def fit(
    at: Callable[[Floats], ModelState], data: ModelData, *, model: Model, reason: str
) -> ModelFit:
    """Fit a model to the data that its likelihood was made of.

    Parameters
    ----------
    at : callable
        Gives the state at coefficients of shape (k,).
    data : ModelData
    model, reason
        Carried into the result.

    Raises
    ------
    NotEstimableError
        If there is no event, or the data do not determine the coefficients.
    """
    if data.events == 0:
        raise NotEstimableError("No catheter was removed for this reason.")
    k = len(data.design.columns)
    top = maximise(at, k, data.events)
    refuse_separation(data, top.coefficients)
    return ModelFit(
        model=model,
        reason=reason,
        columns=data.design.columns,
        coefficients=top.coefficients,
        covariance=clustered_covariance(data, top.state.influence(), top.information),
        model_based_se=np.sqrt(np.diag(solve(top.information, np.eye(k)))),
        episodes=data.episodes,
        events=data.events,
        children=data.children,
        log_likelihood=top.state.log_likelihood,
        null_log_likelihood=top.null,
        iterations=top.iterations,
        baseline=top.state.baseline(),
    )


def maximise(at: Callable[[Floats], AnyState], k: int, events: int) -> Maximum[AnyState]:
    """Newton's method with step halving, until the last step changes nothing.

    Parameters
    ----------
    at : callable
        Gives the state at coefficients of shape (k,).
    k, events : int
        Number of coefficients and of events.

    Raises
    ------
    NotEstimableError
        If the information is singular, or the likelihood rises without end (a
        covariate separates the episodes with and without the event).
    """
    beta = np.zeros(k)
    state = at(beta)
    null, information = state.log_likelihood, state.information()
    for iteration in range(1, MAX_ITERATIONS + 1):
        score = state.score()
        step = solve(information, score)
        last = float(step @ score) <= DECREMENT * max(events, 1)
        moved, after = _uphill(at, beta, step, state)
        if after is not None:
            beta, state, information = moved, after, after.information()
        if after is None or last:
            return Maximum(beta, state, information, null, iteration)
    raise NotEstimableError(SEPARATED)


def refuse_separation(data: ModelData, beta: Floats) -> None:
    """Refuse coefficients that have run away along a flat likelihood.

    Raises
    ------
    NotEstimableError
        If a hazard would differ beyond belief over a covariate's own range.
    """
    if np.any(np.abs(beta) * np.ptp(data.design.matrix, axis=0) > RUN_AWAY):
        raise NotEstimableError(SEPARATED)


def _uphill(
    at: Callable[[Floats], AnyState], beta: Floats, step: Floats, here: AnyState
) -> tuple[Floats, AnyState | None]:
    """Return the first halving of the step that does not lower the likelihood."""
    slack = LOST * abs(here.log_likelihood)
    for halving in range(MAX_HALVINGS):
        moved = beta + step / 2**halving
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            state = at(moved)
        if state.log_likelihood >= here.log_likelihood - slack:
            return moved, state
    return beta, None
