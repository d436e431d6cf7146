"""Limits of p and u charts with unequal denominators, by exact tail areas."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import Flags, Floats, Ints
from pipeline.analysis.rates.distributions import binomial_mid_chance, poisson_mid_chance

SIGMAS = 3.0
"""Width of the limits; the trade's usual choice since Shewhart 1931."""

TAIL = float(special.ndtr(-SIGMAS))
"""Area beyond one three-sigma limit, 0.00135."""


@dataclass(frozen=True, eq=False)
class Limits:
    """Lower and upper limits as rates, the sigma of each point, and which are exact."""

    lower: Floats
    upper: Floats
    sigma: Floats
    exact: Flags


def edges(
    mean: Floats, sigma: Floats, lean: Floats | float, mid: Callable[[Floats, Ints], Floats]
) -> tuple[Floats, Floats]:
    """Return the least and the greatest count that are not beyond a limit, by mid-P tail area.

    A count is beyond where half its own chance and the chance of all further out come to
    less than the area beyond three sigma. Half its own: tail areas that count it whole are
    so far below what is asked at small volumes that more catheters could see later.

    Parameters
    ----------
    mean, sigma : float array, shape (k,)
        Of each count; where the search begins, by the first terms of Cornish and Fisher.
    lean : float array, shape (k,), or float
        Third central moment over the variance.
    mid : callable
        Of the counts that an index names: the chance of fewer and half of its own.

    References
    ----------
    Lancaster 1961, J Am Stat Assoc 56:223-234, for mid-P (recalled, not retrieved).
    """
    middle = mean + lean * (SIGMAS**2 - 1) / 6
    low = np.maximum(np.rint(middle - SIGMAS * sigma), 0.0)
    high = np.rint(middle + SIGMAS * sigma)
    low = _walk(low, lambda x, these: mid(x, these) >= TAIL, -1.0)
    high = _walk(high, lambda x, these: 1 - mid(x, these) >= TAIL, 1.0)
    return np.maximum(low, 0.0), high


def _walk(x: Floats, inside: Callable[[Floats, Ints], Flags], outward: float) -> Floats:
    """Move each count to the last one inside its limit."""
    within = inside(x, np.arange(x.size))
    these = np.flatnonzero(~within)
    while these.size:
        x[these] -= outward
        these = these[~inside(x[these], these)]
    these = np.flatnonzero(within)
    while (these := these[inside(x[these] + outward, these)]).size:
        x[these] += outward
    return x


def once(n: Floats, centre: Floats) -> tuple[Floats, Floats, Ints]:
    """Return each pair of denominator and centre once, and where every one of them stands."""
    pairs, which = np.unique(n + 1j * centre, return_inverse=True)
    return pairs.real, pairs.imag, which.ravel()


def ceiling_after_none(n: Floats, baseline: Floats) -> Floats:
    r"""Return the most events a period may show after a baseline without any.

    A baseline of zero events does not prove a rate of zero. Given that :math:`x`
    events fell in baseline and period together, all fall in the period with a
    chance of at most :math:`(n / (n + N))^x`; the ceiling is the largest
    :math:`x` for which that is not under the tail area of a three-sigma limit.

    Parameters
    ----------
    n, baseline : float array, shape (k,)
        Denominators of each period and of its whole baseline.

    References
    ----------
    The conditional comparison of two Poisson counts: Przyborowski and Wilenski
    1940, Biometrika 31:313-323 (recalled, not retrieved).
    """
    share = np.clip(n / np.maximum(n + baseline, 1e-300), 1e-12, 1 - 1e-12)
    return np.floor(np.log(TAIL) / np.log(share))


def proportion_limits(n: Floats, centre: Floats, baseline_n: Floats, sigma_z: Floats) -> Limits:
    r"""Limits of a p or p' chart, each point by its own denominator.

    Of a p chart the binomial counts by `edges`; of Laney's
    :math:`\bar p \pm 3 \sigma_z \sqrt{\bar p (1 - \bar p) / n_i}`, kept within zero and
    one. A point signals strictly beyond a limit.

    Parameters
    ----------
    n, centre, baseline_n : float array, shape (k,)
        Catheters, centre line as a proportion, and catheters in the baseline.
    sigma_z : float array, shape (k,)
        Laney's factor; one for an ordinary p chart.

    References
    ----------
    ISO 7870-2:2013, clause on the p chart; Laney 2002, Quality Engineering
    14:531-537.
    """
    sigma = np.sqrt(centre * (1 - centre) / n) * sigma_z
    lower = np.clip(centre - SIGMAS * sigma, 0, 1)
    upper = np.clip(centre + SIGMAS * sigma, 0, 1)
    exact = (np.asarray(sigma_z) == 1.0) & (centre > 0) & (centre < 1)
    trials, p, which = once(np.rint(n[exact]), centre[exact])
    low, high = edges(
        trials * p,
        np.sqrt(trials * p * (1 - p)),
        1 - 2 * p,
        lambda x, i: binomial_mid_chance(x, trials[i], p[i]),
    )
    lower[exact] = low[which] / n[exact]
    upper[exact] = np.minimum(high, trials)[which] / n[exact]
    none, every = centre <= 0, centre >= 1
    ceiling = np.minimum(ceiling_after_none(n, baseline_n), n) / n
    upper[none], lower[every] = ceiling[none], 1 - ceiling[every]
    return Limits(lower, upper, sigma, exact | none | every)


def rate_limits(n: Floats, centre: Floats, baseline_n: Floats, sigma_z: Floats) -> Limits:
    r"""Limits of a u or u' chart, each point by its own exposure.

    Of a u chart the Poisson counts by `edges`; of Laney's
    :math:`\bar u \pm 3 \sigma_z \sqrt{\bar u / n_i}`, the lower one not below zero. A c
    chart is a u chart whose exposures are all one.

    Parameters
    ----------
    n, centre, baseline_n : float array, shape (k,)
        Exposure, centre line as events per unit of exposure, and exposure in
        the baseline.
    sigma_z : float array, shape (k,)
        Laney's factor; one for an ordinary u chart.

    References
    ----------
    ISO 7870-2:2013, clauses on the u and c charts; Laney 2002, Quality
    Engineering 14:531-537.
    """
    sigma = np.sqrt(centre / n) * sigma_z
    lower, upper = np.maximum(centre - SIGMAS * sigma, 0), centre + SIGMAS * sigma
    exact = (np.asarray(sigma_z) == 1.0) & (centre > 0)
    volume, rate, which = once(n[exact], centre[exact])
    mean = volume * rate
    low, high = edges(mean, np.sqrt(mean), 1.0, lambda x, i: poisson_mid_chance(x, mean[i]))
    lower[exact], upper[exact] = low[which] / n[exact], high[which] / n[exact]
    none = centre <= 0
    upper[none] = ceiling_after_none(n[none], baseline_n[none]) / n[none]
    return Limits(lower, upper, sigma, exact | none)
