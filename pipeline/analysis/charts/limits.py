"""Limits of p and u charts with unequal denominators, exact where counts are small."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import Flags, Floats

SIGMAS = 3.0
"""Width of the limits; the trade's usual choice since Shewhart 1931."""

TAIL = float(special.ndtr(-SIGMAS))
"""Area beyond one three-sigma limit, 0.00135; exact limits leave no more than this."""

SMALL_COUNT = 5.0
"""Expected events (or non-events) under which the normal limits give way to exact ones."""


MOST_EVENTS = 200
"""Where adding up stops; far beyond any quantile of a mean under five."""


@dataclass(frozen=True, eq=False)
class Limits:
    """Lower and upper limits as rates, the sigma of each point, and which are exact."""

    lower: Floats
    upper: Floats
    sigma: Floats
    exact: Flags


def binomial_quantile(q: float, n: Floats, p: Floats) -> Floats:
    """Return the smallest count whose binomial distribution function reaches `q`.

    Meant for few events or few non-events: the probabilities are added up from
    the end where they are.
    """
    trials, rare = np.rint(n), np.minimum(p, 1 - p)
    few = p <= 0.5
    start = np.exp(trials * np.log1p(-rare))
    odds = rare / (1 - rare)

    def ratio(x: int) -> Floats:
        return np.maximum(trials - x + 1, 0) / x * odds

    events = _smallest(start, ratio, np.where(few, q, 1 - q), strict=~few)
    return np.where(few, events, trials - events)


def poisson_quantile(q: float, mean: Floats) -> Floats:
    """Return the smallest count whose Poisson distribution function reaches `q`.

    Meant for small means.
    """
    strict = np.zeros(mean.shape, bool)
    return _smallest(np.exp(-mean), lambda x: mean / x, np.full(mean.shape, q), strict=strict)


def _smallest(start: Floats, ratio: Callable[[int], Floats], q: Floats, *, strict: Flags) -> Floats:
    """Add up probabilities until each sum reaches (or, if strict, passes) its `q`."""
    term, total, count = start, start.copy(), np.zeros(start.shape)
    for x in range(1, MOST_EVENTS):
        short = np.where(strict, total <= q, total < q)
        if not short.any():
            break
        count[short] = x
        term = term * ratio(x)
        total += term
    return count


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


def proportion_limits(
    n: Floats, centre: Floats, baseline_n: Floats, sigma_z: Floats | float = 1.0
) -> Limits:
    r"""Limits of a p or p' chart, each point by its own denominator.

    :math:`\bar p \pm 3 \sigma_z \sqrt{\bar p (1 - \bar p) / n_i}`, kept within
    zero and one; with :math:`\sigma_z = 1` and :math:`n \bar p` or
    :math:`n (1 - \bar p)` under five, the binomial quantiles with the same tail
    area. A point signals strictly beyond a limit.

    Parameters
    ----------
    n, centre, baseline_n : float array, shape (k,)
        Catheters, centre line as a proportion, and catheters in the baseline.
    sigma_z : float or array
        Laney's factor; one for an ordinary p chart.

    References
    ----------
    ISO 7870-2:2013, clause on the p chart; Laney 2002, Quality Engineering
    14:531-537.
    """
    sigma = np.sqrt(centre * (1 - centre) / n) * sigma_z
    exact = _is_plain(sigma_z, n) & (np.minimum(n * centre, n * (1 - centre)) < SMALL_COUNT)
    lower = np.clip(centre - SIGMAS * sigma, 0, 1)
    upper = np.clip(centre + SIGMAS * sigma, 0, 1)
    lower[exact] = binomial_quantile(TAIL, n[exact], centre[exact]) / n[exact]
    upper[exact] = binomial_quantile(1 - TAIL, n[exact], centre[exact]) / n[exact]
    none, every = centre <= 0, centre >= 1
    ceiling = np.minimum(ceiling_after_none(n, baseline_n), n) / n
    upper[none], lower[every] = ceiling[none], 1 - ceiling[every]
    return Limits(lower, upper, sigma, exact | none | every)


def rate_limits(
    n: Floats, centre: Floats, baseline_n: Floats, sigma_z: Floats | float = 1.0
) -> Limits:
    r"""Limits of a u or u' chart, each point by its own exposure.

    :math:`\bar u \pm 3 \sigma_z \sqrt{\bar u / n_i}`, the lower one not below
    zero; exact Poisson limits where :math:`n_i \bar u < 5`. A c chart is a u
    chart whose exposures are all one.

    Parameters
    ----------
    n, centre, baseline_n : float array, shape (k,)
        Exposure, centre line as events per unit of exposure, and exposure in
        the baseline.
    sigma_z : float or array
        Laney's factor; one for an ordinary u chart.

    References
    ----------
    ISO 7870-2:2013, clauses on the u and c charts; Laney 2002, Quality
    Engineering 14:531-537.
    """
    sigma = np.sqrt(centre / n) * sigma_z
    exact = _is_plain(sigma_z, n) & (n * centre < SMALL_COUNT)
    lower = np.maximum(centre - SIGMAS * sigma, 0)
    upper = centre + SIGMAS * sigma
    lower[exact] = poisson_quantile(TAIL, n[exact] * centre[exact]) / n[exact]
    upper[exact] = poisson_quantile(1 - TAIL, n[exact] * centre[exact]) / n[exact]
    none = centre <= 0
    upper[none] = ceiling_after_none(n[none], baseline_n[none]) / n[none]
    return Limits(lower, upper, sigma, exact | none)


def _is_plain(sigma_z: Floats | float, n: Floats) -> Flags:
    return np.broadcast_to(np.asarray(sigma_z) == 1.0, n.shape).copy()
