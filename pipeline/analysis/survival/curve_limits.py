"""Log(-log) limits of a curve that lies between 0 and 1."""

from __future__ import annotations

import numpy as np
from scipy import special

from pipeline.analysis.rates.intervals import ConfidenceLimits
from pipeline.analysis.survival.event_counts import Floats, Ints

LEVEL = 0.95  # coverage of every limit
Z = float(special.ndtri(0.5 + LEVEL / 2))
TAILS = ((1 - LEVEL) / 2, 1 - (1 - LEVEL) / 2)


def log_log(estimate: Floats, se: Floats) -> ConfidenceLimits:
    r"""Limits :math:`p^{\exp(\pm z\,se / (p\log p))}`; NaN where p is 0 or 1.

    Parameters
    ----------
    estimate, se : float array, shape (m,)
        A probability and its standard error.

    References
    ----------
    Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data,
    section 1.4 (recalled, not retrieved); figures of SV-01 in tests/reference.
    """
    inside = (estimate > 0) & (estimate < 1)
    p = np.where(inside, estimate, 0.5)
    spread = np.exp(Z * se / np.abs(p * np.log(p)))
    lower, upper = p**spread, p ** (1 / spread)
    return ConfidenceLimits(np.where(inside, lower, np.nan), np.where(inside, upper, np.nan))


def none_of(n: Ints | Floats) -> Floats:
    """Return the exact upper limit of a proportion when none of `n` had the event.

    NaN where `n` is 0.

    References
    ----------
    Clopper and Pearson 1934, Biometrika 26:404-413, with no event.
    """
    known = np.asarray(n, float)
    safe = np.where(known > 0, known, np.nan)
    limit: Floats = 1 - ((1 - LEVEL) / 2) ** (1 / safe)
    return limit
