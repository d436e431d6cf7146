"""Estimates that borrow from the network: small groups are drawn towards its rate.

A group with few children can look extreme by chance alone. Its own figure is
weighed against how much groups differ at all, and what comes out is an estimate
with an interval and the probability of lying above the network, in place of any
ranking.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]

# Spread between groups on the log scale that is looked at, and the scale of its
# half-normal prior: weakly informative, a spread of 1 being a 7-fold range between
# the outer groups. The programme's own choice, no source.
SPREADS = np.geomspace(0.01, 3.0, 60)
PRIOR_SCALE = 1.0
FINEST, COARSEST = 0.001, 0.005  # steps of the grid over the log ratio


@dataclass(frozen=True)
class Shrunken:
    """Shrunken difference of each group from the network; NaN where there is none.

    Attributes
    ----------
    shift, lower, upper : float array, shape (groups,)
        Posterior mean and central interval of the log rate ratio, or of the log
        odds ratio for a proportion.
    above_network : float array, shape (groups,)
        Probability that the group's own rate lies above the network's.
    spread : float
        Posterior mean of the standard deviation between groups.
    """

    shift: Floats
    lower: Floats
    upper: Floats
    above_network: Floats
    spread: float


def shrink(
    observed: ArrayLike,
    expected: ArrayLike,
    denominator: ArrayLike,
    *,
    kind: Kind,
    dispersion: float = 1.0,
    spread: float | None = None,
    level: float = 0.95,
) -> Shrunken:
    r"""Mixed model of the groups with their expected numbers as offset.

    Group differences are :math:`u_i \sim N(0, \tau^2)` on the log scale with
    events Poisson(:math:`E_i e^{u_i}`), or on the logit scale with events
    binomial. Both integrals (over :math:`u` and over :math:`\tau`, with a
    half-normal prior) are sums over a grid, so intervals own up to not knowing
    how much groups differ.

    Parameters
    ----------
    observed, expected, denominator : array_like, shape (groups,)
        Events, events expected, and trials or exposure. A group whose expected
        number is not above zero has NaN.
    kind : {"proportion", "rate"}
        Binomial or Poisson.
    dispersion : float
        Events that come in clusters of this size count as one.
    spread : float, optional
        A known standard deviation between groups, in place of its posterior.
    level : float
        Coverage of the interval.

    References
    ----------
    Spiegelhalter, Abrams and Myles 2004, Bayesian Approaches to Clinical Trials
    and Health-Care Evaluation, ch. 3 (recalled, not retrieved); Gelman 2006,
    Bayesian Anal 1:515-534, on priors of a variance (recalled).
    """
    o, e, n = (np.asarray(a, float) / dispersion for a in (observed, expected, denominator))
    usable = (e > 0) & ((e < n) | (kind == "rate"))
    if not usable.any():
        blank = np.full(o.shape, np.nan)
        return Shrunken(blank, blank, blank, blank, float("nan"))
    grid = _grid(o[usable], e[usable], n[usable], kind)
    weight, taus = _posterior(o[usable], e[usable], n[usable], grid, kind=kind, spread=spread)
    return _summary(weight, taus, grid, usable, level)


def log_marginal_likelihood(
    observed: ArrayLike, expected: ArrayLike, denominator: ArrayLike, spread: float, kind: Kind
) -> float:
    """Log likelihood of a standard deviation between groups, up to a constant."""
    o, e, n = (np.asarray(a, float) for a in (observed, expected, denominator))
    grid = _grid(o, e, n, kind)
    likelihood, top = _likelihood(o, e, n, grid, kind)
    prior = _prior(grid, np.array([spread]))
    return float((np.log(likelihood @ prior)[:, 0] + top).sum())


def _grid(o: Floats, e: Floats, n: Floats, kind: Kind) -> Floats:
    """Log ratios fine enough for the sharpest group and wide enough for all."""
    room = np.maximum(n - o, 0) + 0.5 if kind == "proportion" else np.inf
    error = np.sqrt(1 / (o + 0.5) + 1 / room)
    expected_room = np.maximum(n - e, 1e-9) + 0.5 if kind == "proportion" else np.inf
    centre = np.log((o + 0.5) / (e + 0.5))
    if kind == "proportion":
        centre = centre - np.log(room / expected_room)
    step = float(np.clip(error.min() / 2, FINEST, COARSEST))
    low = max(min(float((centre - 7 * error).min()), -0.5), -7.0)
    high = min(max(float((centre + 7 * error).max()), 0.5), 7.0)
    return np.arange(np.floor(low / step), np.ceil(high / step) + 1) * step


def _likelihood(o: Floats, e: Floats, n: Floats, grid: Floats, kind: Kind) -> tuple[Floats, Floats]:
    """Likelihood of each log ratio by group, over its own largest value; and log of that."""
    if kind == "rate":
        log_l = o[:, None] * grid - e[:, None] * np.exp(grid)
    else:
        linear = np.log(e / (n - e))[:, None] + grid
        log_l = o[:, None] * linear - n[:, None] * np.logaddexp(0.0, linear)
    top = log_l.max(axis=1)
    return np.exp(log_l - top[:, None]), top


def _prior(grid: Floats, taus: Floats) -> Floats:
    """Probability of each log ratio for each spread, shape (grid, taus)."""
    step = grid[1] - grid[0]
    density: Floats = np.exp(-0.5 * (grid[:, None] / taus) ** 2) / (taus * np.sqrt(2 * np.pi))
    return density * step


def _posterior(
    o: Floats, e: Floats, n: Floats, grid: Floats, *, kind: Kind, spread: float | None
) -> tuple[Floats, tuple[Floats, Floats]]:
    """Posterior over the grid by group, and over the spreads."""
    taus = SPREADS if spread is None else np.array([spread])
    likelihood, _ = _likelihood(o, e, n, grid, kind)
    prior = _prior(grid, taus)
    marginal = np.maximum(likelihood @ prior, 1e-300)
    log_weight = np.log(marginal).sum(axis=0) - 0.5 * (taus / PRIOR_SCALE) ** 2
    log_weight += np.log(taus)  # the spreads are evenly spaced on the log scale
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    posterior = likelihood * ((weight / marginal) @ prior.T)
    return posterior / posterior.sum(axis=1, keepdims=True), (taus, weight)


def _summary(
    posterior: Floats,
    taus: tuple[Floats, Floats],
    grid: Floats,
    usable: NDArray[np.bool_],
    level: float,
) -> Shrunken:
    def spread_out(values: Floats) -> Floats:
        whole = np.full(usable.shape, np.nan)
        whole[usable] = values
        return whole

    # Half of each grid point's probability lies on either side of it.
    cumulative = np.cumsum(posterior, axis=1) - posterior / 2
    tail = (1 - level) / 2

    def quantile(p: float) -> Floats:
        return np.array([np.interp(p, row, grid) for row in cumulative])

    middle = int(np.argmin(np.abs(grid)))
    return Shrunken(
        shift=spread_out(posterior @ grid),
        lower=spread_out(quantile(tail)),
        upper=spread_out(quantile(1 - tail)),
        above_network=spread_out(1 - cumulative[:, middle]),
        spread=float(taus[0] @ taus[1]),
    )


def shifted_rate(expected: ArrayLike, shift: ArrayLike, kind: Kind) -> Floats:
    """Move an expected rate by a log rate ratio, or a proportion by a log odds ratio.

    Rates are before the multiplier.
    """
    rate, u = np.asarray(expected, float), np.asarray(shift, float)
    if kind == "rate":
        return rate * np.exp(u)
    moved: Floats = special.expit(special.logit(np.clip(rate, 0, 1)) + u)
    return moved
