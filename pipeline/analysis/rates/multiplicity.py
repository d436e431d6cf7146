"""Several comparisons at once: which of many are called different."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

FALSE_DISCOVERY_RATE = 0.05  # share of the calls that may be false, on average
LEADING_SHARE = 0.6  # of that rate, for the families that lead
FAMILY_WISE_ERROR = 0.05  # chance of any false call among the groups of one comparison


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


def called_in_family(p_values: ArrayLike, *, error: float = FAMILY_WISE_ERROR) -> NDArray[np.bool_]:
    """Say which comparisons are called by Holm's step-down test.

    The i-th smallest of m p-values is called while it and all smaller ones p are at
    or below error / (m - i + 1). The chance of any false call is at most `error`,
    whatever else truly differs.

    Parameters
    ----------
    p_values : array_like, shape (comparisons,)
        NaN marks a comparison that was not made; it is not called and does not count.
    error : float
        Chance of any false call.

    References
    ----------
    Holm 1979, Scand J Stat 6:65-70 (recalled, not retrieved).
    """
    p = np.asarray(p_values, dtype=float)
    order = np.argsort(np.where(np.isnan(p), np.inf, p), kind="stable")
    made = np.count_nonzero(~np.isnan(p))
    stands = np.zeros(p.shape, dtype=bool)
    steps = p[order[:made]] <= error / (made - np.arange(made))
    stands[order[:made]] = np.logical_and.accumulate(steps)
    return stands


def called_together(
    families: Sequence[ArrayLike], leads: Sequence[bool] = ()
) -> list[NDArray[np.bool_]]:
    """Say which comparisons of several families, read together, are called.

    A comparison is called at a false discovery rate of 5% over all families, so that
    a long table finds nothing by being long; and only if it is by the step-down test
    of its own family, so that where one group differs no other is called in more than
    one family in twenty. Families that lead are judged among themselves at three fifths of
    that rate, and the others at the rest, so that a long table does not hide what matters most.

    Parameters
    ----------
    families : sequence of array_like, each of shape (comparisons,)
        P-values; NaN marks a comparison that was not made.
    leads : sequence of bool
        Whether each family leads; none does where it is empty.
    """
    own = [called_in_family(p_values) for p_values in families]
    first = list(leads) or [False] * len(own)
    found = list(own)
    for kind in set(first):
        share = (LEADING_SHARE if kind else 1 - LEADING_SHARE) if any(first) else 1.0
        these = [i for i, one in enumerate(first) if one is kind]
        p_values = [np.asarray(families[i], float) for i in these]
        together = called(np.concatenate(p_values), rate=FALSE_DISCOVERY_RATE * share)
        parts = np.split(together, np.cumsum([len(own[i]) for i in these])[:-1])
        for i, part in zip(these, parts, strict=True):
            found[i] = part & own[i]
    return found
