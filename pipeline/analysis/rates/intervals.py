"""Confidence limits for one proportion, one Poisson count, one rate.

Every function takes scalars or arrays that broadcast together and returns
:class:`ConfidenceLimits`. A denominator of zero has no limits: both are NaN. Nothing
here multiplies by 100 or by 1,000; :mod:`pipeline.analysis.rates` does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

TAIL = 0.025  # on either side of every interval: they cover 95%
BISECTIONS = 60  # halvings of the bracket, which exhaust a double


@dataclass(frozen=True)
class ConfidenceLimits:
    """A lower and an upper limit for each value, in the unit of the estimate."""

    lower: Floats
    upper: Floats


def wilson(count: ArrayLike, n: ArrayLike) -> ConfidenceLimits:
    r"""Score limits of a proportion, without continuity correction.

    With :math:`p = x/n` and :math:`z` the normal quantile, the limits are
    :math:`(p + z^2/2n \pm z\sqrt{p(1-p)/n + z^2/4n^2}) / (1 + z^2/n)`.

    Parameters
    ----------
    count : array_like
        Events, each from 0 to `n`.
    n : array_like
        Trials; 0 gives NaN limits.

    Raises
    ------
    ValueError
        If a count is negative or above its `n`.

    References
    ----------
    Wilson 1927, J Am Stat Assoc 22:209-212; Newcombe 1998, Stat Med
    17:857-872, method 3.
    """
    x, n = _trials(count, n)
    z = float(special.ndtri(1 - TAIL))
    with np.errstate(divide="ignore", invalid="ignore"):
        p = x / n
        centre = p + z**2 / (2 * n)
        half = z * np.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
        scale = 1 + z**2 / n
        lower = np.where(x == 0, 0.0, (centre - half) / scale)
        upper = np.where(x == n, 1.0, (centre + half) / scale)
    return _known(lower, upper, n)


def binomial_mid_p(count: ArrayLike, n: ArrayLike) -> ConfidenceLimits:
    """Exact limits of a proportion counting half the observed count's probability.

    Parameters, errors and NaN as for :func:`wilson`.

    References
    ----------
    Newcombe 1998, Stat Med 17:857-872, method 6; Lancaster 1961, J Am Stat
    Assoc 56:223-234.
    """
    x, n = _trials(count, n)
    p = x / np.where(n > 0, n, 1)

    def upper_tail(at: Floats) -> Floats:
        return 0.5 * (_binomial_at_least(x, n, at) + _binomial_at_least(x + 1, n, at))

    lower = _solve(upper_tail, TAIL, np.zeros_like(p), p)
    upper = _solve(upper_tail, 1 - TAIL, p, np.ones_like(p))
    return _known(np.where(x == 0, 0.0, lower), np.where(x == n, 1.0, upper), n)


def garwood(events: ArrayLike, exposure: ArrayLike = 1.0) -> ConfidenceLimits:
    r"""Exact limits of a Poisson count, divided by its exposure.

    The limits of the count are :math:`\chi^2_{2x}(\alpha/2)/2` and
    :math:`\chi^2_{2x+2}(1-\alpha/2)/2`.

    Parameters
    ----------
    events : array_like
        Events, none negative.
    exposure : array_like
        Catheter-days, or the expected count for an observed-to-expected ratio;
        0 gives NaN limits. 1 (the default) gives the limits of the count.

    Raises
    ------
    ValueError
        If an event count or an exposure is negative.

    References
    ----------
    Garwood 1936, Biometrika 28:437-442; Ulm 1990, Am J Epidemiol 131:373-375.
    """
    x, t = _exposed(events, exposure)
    return _per_exposure(*_garwood_counts(x), t)


def poisson_mid_p(events: ArrayLike, exposure: ArrayLike = 1.0) -> ConfidenceLimits:
    """Limits of a Poisson count counting half the observed count's probability.

    The method for observed-to-expected ratios, `exposure` being the expected
    count. Parameters, errors and NaN as for :func:`garwood`.

    References
    ----------
    Rothman and Boice 1979, Epidemiologic Analysis with a Programmable
    Calculator (method recalled, not retrieved); figures checked against CDC's
    published standardised infection ratio macro, February 2014.
    """
    x, t = _exposed(events, exposure)
    exact_lower, exact_upper = _garwood_counts(x)

    def upper_tail(mean: Floats) -> Floats:
        return 0.5 * (_poisson_at_least(x, mean) + _poisson_at_least(x + 1, mean))

    lower = np.where(x == 0, 0.0, _solve(upper_tail, TAIL, exact_lower, x))
    return _per_exposure(lower, _solve(upper_tail, 1 - TAIL, x, exact_upper), t)


def _trials(count: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    x, trials = np.broadcast_arrays(np.asarray(count, float), np.asarray(n, float))
    if np.any(x < 0) or np.any(x > trials):
        raise ValueError("a count lies outside 0 to its number of trials")
    return x, trials


def _exposed(events: ArrayLike, exposure: ArrayLike) -> tuple[Floats, Floats]:
    x, t = np.broadcast_arrays(np.asarray(events, float), np.asarray(exposure, float))
    if np.any(x < 0) or np.any(t < 0):
        raise ValueError("an event count or an exposure is negative")
    return x, t


def _garwood_counts(x: Floats) -> tuple[Floats, Floats]:
    lower = np.where(x == 0, 0.0, special.gammaincinv(np.maximum(x, 1e-300), TAIL))
    return lower, special.gammaincinv(x + 1, 1 - TAIL)


def _binomial_at_least(k: Floats, n: Floats, p: Floats) -> Floats:
    """P(X >= k) for k from 0 to n + 1."""
    inside = (k > 0) & (k <= n)
    one = np.ones_like(p)
    value = special.betainc(np.where(inside, k, one), np.where(inside, n - k + 1, one), p)
    return np.where(inside, value, np.where(k <= 0, 1.0, 0.0))


def _poisson_at_least(k: Floats, mean: Floats) -> Floats:
    """P(X >= k) for k >= 0."""
    return np.where(k > 0, special.gammainc(np.maximum(k, 1e-300), mean), 1.0)


def _solve(rising: Callable[[Floats], Floats], target: float, low: Floats, high: Floats) -> Floats:
    """Bisect a function that rises from below `target` at `low` to above it at `high`."""
    low, high = low.astype(float), high.astype(float)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        below = rising(middle) < target
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return (low + high) / 2


def _known(lower: Floats, upper: Floats, n: Floats) -> ConfidenceLimits:
    return ConfidenceLimits(np.where(n > 0, lower, np.nan), np.where(n > 0, upper, np.nan))


def _per_exposure(lower: Floats, upper: Floats, exposure: Floats) -> ConfidenceLimits:
    safe = np.where(exposure > 0, exposure, np.nan)
    return ConfidenceLimits(lower / safe, upper / safe)
