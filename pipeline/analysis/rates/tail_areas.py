"""Exact tails: how surprising an observed number is, given the expected one."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

SAME_VARIANCE = 1e-6  # relative; closer to its mean than this, a count is Poisson


def tail_p_value(observed: ArrayLike, expected: ArrayLike, variance: ArrayLike) -> Floats:
    r"""Two-sided p-value of an observed count: twice the smaller tail, at most 1.

    The count under no difference has the mean `expected` and the given
    `variance`: binomial where that is below the mean, Poisson where they are
    equal, negative binomial where it is above. The last covers an expectation
    that is itself uncertain: with :math:`v = m + m^2/R` the p-value is that of
    the exact conditional comparison with a reference that had :math:`R` events.

    Parameters
    ----------
    observed, expected, variance : array_like
        They broadcast together. NaN where an expected count is not above zero.

    Returns
    -------
    array
        Tails include the observed count whole, so the test never rejects more
        often than it says when the law holds.
    """
    k, m, v = (np.asarray(a, float) for a in np.broadcast_arrays(observed, expected, variance))
    # Conditioning on the total adds one event to the reference in the upper tail.
    high, low = _at_least(k, m, v, extra=1.0), 1 - _at_least(k + 1, m, v)
    p = np.minimum(2 * np.minimum(high, low), 1.0)
    return np.where(m > 0, np.maximum(p, 0.0), np.nan)


def _at_least(k: Floats, mean: Floats, variance: Floats, *, extra: float = 0.0) -> Floats:
    """P(X >= k) of the law with this mean and variance; `extra` adds to the shape."""
    m = np.where(mean > 0, mean, 1.0)
    v = np.where(mean > 0, variance, 1.0)
    ratio = v / m
    over, under = ratio > 1 + SAME_VARIANCE, ratio < 1 - SAME_VARIANCE
    at = np.maximum(k, 1e-9)
    shape = m / np.where(over, ratio - 1, 1.0)
    negative_binomial = special.betainc(at, shape + extra, np.where(over, 1 - 1 / ratio, 0.5))
    left = np.where(under, m / np.where(under, 1 - ratio, 1.0) - at + 1, 1.0)
    binomial = np.where(
        left > 0,
        special.betainc(at, np.maximum(left, 1e-9), np.where(under, 1 - ratio, 0.5)),
        0.0,
    )
    poisson = special.gammainc(at, m)
    tail = np.where(over, negative_binomial, np.where(under, binomial, poisson))
    return np.where(k <= 0, 1.0, tail)
