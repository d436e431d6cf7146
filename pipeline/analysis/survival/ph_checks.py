"""Are the hazards proportional? A score test for each term, and the ratio by day."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from scipy import special

from pipeline.analysis.survival import curve_limits
from pipeline.analysis.survival.cox import CoxLikelihood, CoxState
from pipeline.analysis.survival.event_counts import Floats, sums_by
from pipeline.analysis.survival.model_data import (
    OF_REASON,
    ModelData,
    ModelFit,
    NotEstimableError,
    from_last,
    solve,
)
from pipeline.analysis.survival.terms import EVENTS_PER_COEFFICIENT, Coefficient

Transform = Literal["km", "hours"]
DAYS_H = (0.0, 24.0, 48.0, 72.0)  # windows of the hazard ratio by day; the last is open


@dataclass(frozen=True)
class PhTest:
    """Score test that a term's hazard ratio does not change with time."""

    term: str
    chi_square: float
    degrees: int
    p_value: float


@dataclass(frozen=True)
class WindowRatio:
    """A coefficient's hazard ratio within one window of hours, with limits."""

    column: Coefficient
    from_h: float
    until_h: float
    events: int
    hazard_ratio: float
    lower: float
    upper: float


@dataclass(frozen=True)
class PhCheck:
    """The tests, the term of "all terms" last, and the ratios by window."""

    reason: str
    tests: tuple[PhTest, ...]
    windows: tuple[WindowRatio, ...]


def check_proportional_hazards(
    data: ModelData, fit: ModelFit, *, transform: Transform = "km"
) -> PhCheck:
    r"""Test each term of a Cox fit for a hazard ratio that changes with time.

    The score test of adding the term times :math:`g(t)` to the fitted model, with
    :math:`g` one minus the Kaplan-Meier curve of the reason just before t, or the
    hours themselves. The ratios by day are one Newton step from the fit on the
    removals of that window alone.

    Parameters
    ----------
    data : ModelData
        What the model was fitted to.
    fit : ModelFit
        A Cox fit.

    References
    ----------
    Grambsch and Therneau 1994, Biometrika 81:515-526; figures computed with R's
    cox.zph in tests/reference.
    """
    state = CoxLikelihood.of(data).at(fit.coefficients)
    added = _Added.of(state, _transformed(data, transform))
    tests = [added.test(fit, [term], term) for term in _terms(fit)]
    tests.append(added.test(fit, _terms(fit), "all terms"))
    edges = [*DAYS_H, np.inf]
    ratios = [
        ratio for start, end in pairwise(edges) for ratio in _window(data, fit, state, start, end)
    ]
    return PhCheck(fit.reason, tuple(tests), tuple(ratios))


def _terms(fit: ModelFit) -> list[str]:
    return list(dict.fromkeys(column.term for column in fit.columns))


def _transformed(data: ModelData, transform: Transform) -> Floats:
    hours = data.distinct_hours
    d = data.removed_at
    if transform == "hours":
        g = hours
    else:
        distinct, pooled = np.unique(hours, return_inverse=True)  # over the strata together
        at_risk = from_last(sums_by(pooled[data.at], data.n.astype(float), len(distinct)))
        after = np.cumprod(1 - np.bincount(pooled, d) / at_risk)
        g = 1 - np.concatenate([[1.0], after[:-1]])[pooled]
    centred: Floats = g - (d @ g) / d.sum()
    return centred


@dataclass(frozen=True)
class _Added:
    """Score of the columns times g, and what its variance is made of: 1, g and g squared."""

    score: Floats
    plain: Floats
    cross: Floats
    square: Floats

    @classmethod
    def of(cls, state: CoxState, g: Floats) -> _Added:
        return cls(
            state.score(g), state.information(), state.information(g), state.information(g**2)
        )

    def test(self, fit: ModelFit, terms: list[str], name: str) -> PhTest:
        """Test that the columns of some terms need no such addition."""
        chosen = [i for i, column in enumerate(fit.columns) if column.term in terms]
        score, cross = self.score[chosen], self.cross[:, chosen]
        variance = self.square[np.ix_(chosen, chosen)] - cross.T @ solve(self.plain, cross)
        inverse = np.linalg.pinv(variance, rcond=1e-12, hermitian=True)
        statistic = float(score @ inverse @ score)
        degrees = int(np.linalg.matrix_rank(variance, hermitian=True))
        p_value = float(special.chdtrc(degrees, statistic)) if degrees else float("nan")
        return PhTest(name, statistic, degrees, p_value)


def _window(
    data: ModelData, fit: ModelFit, state: CoxState, start: float, end: float
) -> list[WindowRatio]:
    """Ratios within one window; none where it has too few removals to tell."""
    hours = data.distinct_hours
    inside = ((hours > start) | ((start == 0) & (hours >= 0))) & (hours <= end)
    events = int(data.removed_at[inside].sum())
    if events < EVENTS_PER_COEFFICIENT:
        return []
    weight = inside.astype(float)
    try:
        inverse = solve(state.information(weight), np.eye(len(fit.columns)))
    except NotEstimableError:
        return []
    step = inverse @ state.score(weight)
    beta, se = fit.coefficients + step, np.sqrt(np.diag(inverse))
    half = curve_limits.Z * se
    last = float(hours[data.at[data.outcome == OF_REASON]].max())
    return [
        WindowRatio(
            column,
            start,
            min(end, last),
            events,
            float(np.exp(beta[i])),
            float(np.exp(beta[i] - half[i])),
            float(np.exp(beta[i] + half[i])),
        )
        for i, column in enumerate(fit.columns)
    ]
