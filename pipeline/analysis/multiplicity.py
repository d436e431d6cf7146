"""Several comparisons at once: which of many are called different."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FALSE_DISCOVERY_RATE = 0.05  # share of the calls that may be false, on average


def benjamini_hochberg(p_values: ArrayLike) -> NDArray[np.float64]:
    """Adjust p-values so that a threshold on them bounds the false discovery rate.

    The adjusted value of the i-th smallest of m is the least of p·m/j over all
    j ≥ i. Under no true difference at all, the chance of any adjusted value at
    or below 0.05 is at most 5% for independent tests.

    Parameters
    ----------
    p_values : array_like, any shape
        From 0 to 1; NaN marks a comparison that was not made. It stays NaN and
        does not count in m.

    Returns
    -------
    array, same shape
        Adjusted p-values, at most 1.

    Raises
    ------
    ValueError
        If a p-value lies outside 0 to 1.

    References
    ----------
    Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300.
    """
    p = np.asarray(p_values, dtype=float)
    flat = p.ravel()
    made = ~np.isnan(flat)
    if np.any((flat[made] < 0) | (flat[made] > 1)):
        raise ValueError("a p-value lies outside 0 to 1")
    order = np.argsort(flat[made], kind="stable")
    m = order.size
    stepped = flat[made][order] * m / np.arange(1, m + 1)
    adjusted = np.empty(m)
    adjusted[order] = np.minimum(np.minimum.accumulate(stepped[::-1])[::-1], 1.0)
    result = np.full(flat.shape, np.nan)
    result[made] = adjusted
    return result.reshape(p.shape)


def called(p_values: ArrayLike, *, rate: float = FALSE_DISCOVERY_RATE) -> NDArray[np.bool_]:
    """Say which comparisons are called different at a false discovery rate."""
    adjusted = benjamini_hochberg(p_values)
    return np.where(np.isnan(adjusted), np.inf, adjusted) <= rate
