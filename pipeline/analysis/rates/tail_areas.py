"""Exact tails: how surprising an observed number is, given the expected one."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

SAME_VARIANCE = 1e-6  # relative; closer to its mean than this, a count is Poisson


def mid_upper_tail(observed: ArrayLike, expected: ArrayLike, variance: ArrayLike) -> Floats:
    r"""Chance of more than the observed count, with half that of the count itself (mid-P).

    The count has the mean `expected` and the given `variance`: binomial where that is
    below the mean, Poisson where they are equal, negative binomial where it is above.
    The last covers an expectation that is itself uncertain: with :math:`v = m + m^2/R`
    the chance is that of the conditional comparison with a reference of :math:`R` events.

    Parameters
    ----------
    observed, expected, variance : array_like
        They broadcast together; expected counts above zero.

    References
    ----------
    Lancaster 1961, J Am Stat Assoc 56:223-234, for the mid-P value.
    """
    k, m, v = (np.asarray(a, float) for a in np.broadcast_arrays(observed, expected, variance))
    # Conditioning on the total adds one event to the reference in the upper tail.
    tail: Floats = 0.5 * (_at_least(k, m, v, extra=1.0) + _at_least(k + 1, m, v))
    return tail


def _at_least(k: Floats, mean: Floats, variance: Floats, *, extra: float = 0.0) -> Floats:
    """P(X >= k) of the law with this mean and variance; `extra` adds to the shape."""
    ratio = variance / mean
    over, under = ratio > 1 + SAME_VARIANCE, ratio < 1 - SAME_VARIANCE
    law = ~(over | under)
    tail, at = np.zeros_like(mean), np.maximum(k, 1e-9)
    tail[law] = special.gammainc(at[law], mean[law])
    shape = mean[over] / (ratio[over] - 1)
    tail[over] = special.betainc(at[over], shape + extra, 1 - 1 / ratio[over])
    left = mean[under] / (1 - ratio[under]) - at[under] + 1
    binomial = special.betainc(at[under], np.maximum(left, 1e-9), 1 - ratio[under])
    tail[under] = np.where(left > 0, binomial, 0.0)
    return np.where(k <= 0, 1.0, tail)
