"""The binomial and the Poisson law, from scipy.special.

scipy.stats has both, and takes a second to import; these take none.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]


def poisson_at_most(r: ArrayLike, mean: ArrayLike) -> Floats:
    """P(X <= r) for whole r; zero below zero."""
    count = np.asarray(r, float)
    below = special.gammaincc(np.maximum(count, 0.0) + 1, np.asarray(mean, float))
    return np.where(count < 0, 0.0, below)


def binomial_at_most(r: ArrayLike, n: ArrayLike, p: ArrayLike) -> Floats:
    """P(X <= r) for whole r of `n` trials; zero below zero."""
    count, trials, chance = np.broadcast_arrays(*(np.asarray(x, float) for x in (r, n, p)))
    below, open_ = np.where(count < 0, 0.0, 1.0), (count >= 0) & (count < trials)
    known = count[open_]
    below[open_] = special.betaincc(known + 1, trials[open_] - known, chance[open_])
    return below


def poisson_mid_chance(r: ArrayLike, mean: ArrayLike) -> Floats:
    """P(X < r) and half of P(X = r), for whole r; zero below zero."""
    count, m = np.broadcast_arrays(np.asarray(r, float), np.asarray(mean, float))
    x = np.maximum(count, 0.0)
    own = np.exp(special.xlogy(x, m) - m - special.gammaln(x + 1))
    return np.where(count < 0, 0.0, poisson_at_most(x, m) - own / 2)


def binomial_mid_chance(r: ArrayLike, n: ArrayLike, p: ArrayLike) -> Floats:
    """P(X < r) and half of P(X = r), for whole r of `n` trials; zero below zero."""
    count, trials, chance = np.broadcast_arrays(*(np.asarray(x, float) for x in (r, n, p)))
    x = np.clip(count, 0.0, trials)
    ways = special.gammaln(trials + 1) - special.gammaln(x + 1) - special.gammaln(trials - x + 1)
    own = np.exp(ways + special.xlogy(x, chance) + special.xlog1py(trials - x, -chance))
    inside = (count >= 0) & (count <= trials)
    return np.where(inside, binomial_at_most(x, trials, chance) - own / 2, count > trials)


def poisson_quantile(tail: ArrayLike, mean: ArrayLike) -> Floats:
    """Return the least whole r with P(X <= r) >= `tail`."""
    m = np.asarray(mean, float)
    r = np.where(m > 0, np.ceil(special.pdtrik(tail, np.where(m > 0, m, 1.0))), 0.0)
    less = np.maximum(r - 1, 0.0)  # the inverse may overshoot by rounding
    return np.where(poisson_at_most(less, m) >= np.asarray(tail), less, r)


def binomial_quantile(tail: ArrayLike, n: ArrayLike, p: ArrayLike) -> Floats:
    """Return the least whole r of `n` trials with P(X <= r) >= `tail`."""
    trials, chance = np.broadcast_arrays(np.asarray(n, float), np.asarray(p, float))
    inside = (chance > 0) & (chance < 1) & (trials > 0)
    found = np.ceil(special.bdtrik(tail, trials, np.where(inside, chance, 0.5)))
    r = np.where(inside, np.clip(found, 0, trials), np.where(chance > 0, trials, 0.0))
    less = np.maximum(r - 1, 0.0)
    return np.where(binomial_at_most(less, trials, chance) >= np.asarray(tail), less, r)
