"""Could this group have shown a difference at all: "too few to tell"."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.analysis.rates import distributions
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]

POWER = 0.80
SIGNIFICANCE = 0.05
DETECTABLE_RATIO = 2.0  # "a doubling"


def power_of_doubling(
    expected: ArrayLike,
    denominator: ArrayLike,
    *,
    kind: Kind,
    dispersion: float = 1.0,
    ratio: float = DETECTABLE_RATIO,
) -> Floats:
    """Chance that a two-sided 5% test of a count shows that many times the expected.

    For a proportion the rarer of the event and its absence is what doubles.

    Parameters
    ----------
    expected : array_like
        Expected number of events.
    denominator : array_like
        Trials (proportion), or exposure, which is not used.
    kind : {"proportion", "rate"}
        Binomial or Poisson.
    dispersion : float
        Events that come in clusters of this size count as one.
    ratio : float
        The ratio to be shown.
    """
    e, n = (np.asarray(a, float) for a in np.broadcast_arrays(expected, denominator))
    if kind == "rate":
        mean = e / dispersion
        critical = distributions.poisson_quantile(1 - SIGNIFICANCE / 2, mean)
        seen = 1 - distributions.poisson_at_most(critical, ratio * mean)
    else:
        trials = np.maximum(np.rint(n / dispersion), 1.0)
        p = np.clip(e / np.where(n > 0, n, 1.0), 0.0, 1.0)
        rarer = np.minimum(p, 1 - p)
        critical = distributions.binomial_quantile(1 - SIGNIFICANCE / 2, trials, rarer)
        seen = 1 - distributions.binomial_at_most(critical, trials, np.minimum(ratio * rarer, 1.0))
    return np.where(e > 0, seen, 0.0)


def too_few_to_tell(
    expected: ArrayLike, denominator: ArrayLike, *, kind: Kind, dispersion: float = 1.0
) -> NDArray[np.bool_]:
    """Say where even a doubling would be missed more than one time in five."""
    power = power_of_doubling(expected, denominator, kind=kind, dispersion=dispersion)
    return power < POWER
