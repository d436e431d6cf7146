"""What ordinary groups do: they differ a little, and a call must lie beyond that.

No two services are alike. A group is therefore judged against where one more ordinary
group would lie, and how much ordinary groups differ is learned from the others alone,
so that an odd group does not hide behind its own oddness.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.analysis.comparison.count_models import variance_per_unit
from pipeline.analysis.comparison.cross_fit import (
    GroupPatterns,
    Prediction,
    cross_fit,
    tabulate,
)
from pipeline.analysis.comparison.pattern_counts import PatternCounts
from pipeline.analysis.comparison.shrinkage import shifted_rate
from pipeline.analysis.rates.intervals import TAIL
from pipeline.analysis.rates.rates import Kind
from pipeline.analysis.rates.tail_areas import mid_upper_tail

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Standard deviations between groups on the logit or log scale that are weighed. Their
# prior is half-normal with one of some scales; which of them, other measures tell. The
# programme's own choice, no source; checked by simulation in tests/analysis/test_false_calls.py.
SPREADS = np.geomspace(0.01, 2.0, 24)
SCALES = np.geomspace(0.02, 1.0, 12)
OF_SCALE = SPREADS / SCALES[:, None] * np.exp(-0.5 * (SPREADS / SCALES[:, None]) ** 2)
OF_SCALE /= OF_SCALE.sum(axis=1, keepdims=True)
BEFOREHAND = SCALES * np.exp(-0.5 * (SCALES / 0.5) ** 2)
FEWEST_TRIMMED = 5
# a n^b: share by which the SD of n falls without the farthest. Simulated it is 0.32 of 5
# and 0.09 of 30; a little more of many makes up for the long tail of rare events.
TRIMMED = (0.94, -0.665)
STEPS = 128  # of the integration, on either side of no difference
FINENESS = 0.1  # of a step, in standard errors
FARTHEST = 25.0  # log ratio that no count tells from a larger one


@dataclass(frozen=True)
class Judged:
    """How each group stands to an ordinary one; arrays of shape (groups,).

    Attributes
    ----------
    p_value : float array
        Two-sided mid-P value of no difference from an ordinary group.
    lower, upper : float array
        95% limits of the ratio of observed to expected, of the same test: they leave
        out 1 exactly where `p_value` is below 0.05.
    spread : float
        Standard deviation between ordinary groups on the logit or log scale, as the
        reference groups show it.
    """

    p_value: Floats
    lower: Floats
    upper: Floats
    spread: float


def spread_prior(others: Sequence[Floats] = ()) -> Floats:
    """Return the prior of the spread, shape (spreads,), learned from other measures.

    Parameters
    ----------
    others : sequence of float array, shape (spreads,)
        Of each, the log-likelihood by :func:`spread_likelihood`.
    """
    log_weight = np.log(BEFOREHAND)
    for log_l in others:
        log_weight = log_weight + np.log(OF_SCALE @ np.exp(log_l - log_l.max()))
    weight = np.exp(log_weight - log_weight.max())
    prior: Floats = weight @ OF_SCALE / weight.sum()
    return prior


def spread_likelihood(counts: PatternCounts, by: str, kind: Kind) -> Floats:
    """Return the log-likelihood of each of `SPREADS`, crude, all groups taken for ordinary."""
    table = tabulate(counts, by, ())
    nobody = np.zeros(len(table.units), bool)
    found = cross_fit(table, kind, nobody)
    apart = (table.events.sum(axis=1) - found.expected) / found.chance
    variance = found.dispersion / found.chance
    whole: Floats = _left_out(apart, variance, nobody)[0][-1]
    return whole


def judge_groups(
    table: GroupPatterns, found: Prediction, aside: Bools, kind: Kind, prior: Floats
) -> Judged:
    r"""Test each group as one more draw from ordinary groups.

    The group's own log ratio (log odds ratio for a proportion) is :math:`u \sim N(0,
    \tau^2 c)`, :math:`c` being 1 and what the reference groups' own differences put into
    their mean. Given :math:`u` the count is binomial, Poisson or negative binomial by its
    mean and variance. :math:`\tau` is integrated over its posterior given the other
    reference groups (restricted likelihood of their standardised differences).

    Parameters
    ----------
    table : GroupPatterns
        The counts.
    found : Prediction
        What is expected of each group by the reference groups.
    aside : bool array, shape (groups,)
        Groups too far from the rest to be ordinary.
    kind : {"proportion", "rate"}
        Binomial or Poisson.
    prior : float array, shape (spreads,)
        Of the spread: see :func:`spread_prior`.

    References
    ----------
    Spiegelhalter 2005, Stat Med 24:1185-1202 (random-effects limits; recalled, not
    retrieved). The integration over tau is the programme's own.
    """
    observed, units = table.events.sum(axis=1), table.units.sum(axis=1)
    apart = (observed - found.expected) / found.chance
    log_l, factor = _left_out(apart, found.dispersion / found.chance, aside)
    posterior = prior * np.exp(log_l - log_l.max(axis=1, keepdims=True))
    posterior /= posterior.sum(axis=1, keepdims=True)
    by_chance = found.dispersion * (found.chance + found.error) / found.chance**2
    scale = np.sqrt(by_chance + posterior[:-1] @ SPREADS**2 * factor**2)
    step = FINENESS * scale[:, None]
    shift = np.arange(-2 * STEPS, 2 * STEPS + 1) * step
    tail = _tail(observed, units, found, shift, kind)
    weight = _weights(posterior[:-1], factor, step)
    reached = np.clip(_convolved(tail, weight), 0.0, 1.0)
    middle = slice(STEPS, 3 * STEPS + 1)
    own = (tail[:, middle] * weight).sum(axis=1)  # to more digits than the convolution
    reached[:, STEPS] = own
    rate = found.expected / units
    lower, upper = (
        shifted_rate(rate, _reaching(reached, shift[:, middle], part), kind) / rate
        for part in (TAIL, 1 - TAIL)
    )
    p_value = np.clip(2 * np.minimum(own, 1 - own), 0.0, 1.0)
    return Judged(p_value, lower, upper, float(posterior[-1] @ SPREADS))


def _convolved(wide: Floats, narrow: Floats) -> Floats:
    """Convolve row by row, where the narrow lies within the wide (scipy.signal loads slowly)."""
    size = wide.shape[1]
    spectrum = np.fft.rfft(wide) * np.fft.rfft(narrow, size)
    return np.fft.irfft(spectrum, size)[:, narrow.shape[1] - 1 :]


def _left_out(apart: Floats, variance: Floats, aside: Bools) -> tuple[Floats, Floats]:
    """Return the log-likelihood of the spread without each group, and last without none.

    Of five groups or more the farthest is left out too, so that one odd group does not
    hide another, and the distances of the rest are made larger by as much as this makes
    them smaller where all groups are ordinary.

    Beside it, for each group, the factor by which the spread of a difference from the
    reference groups' mean exceeds the spread of one group.
    """
    share = np.where(aside, 0.0, 1 / variance)
    whole, groups = share.sum(), len(share)
    # A difference from the others is larger than one from all by the group's own share.
    x = apart * (1 - share / whole)
    far = np.abs(x - np.median(x[~aside])) * np.sqrt(share)
    left = np.tile(~aside, (groups + 1, 1))
    np.fill_diagonal(left, val=False)
    farthest = np.argmax(np.where(left, far, -1.0), axis=1)
    count = left.sum(axis=1)
    trimmed = count >= FEWEST_TRIMMED
    left[trimmed, farthest[trimmed]] = False
    w = 1 / (variance[:, None] + SPREADS**2)
    less = TRIMMED[0] * np.maximum(count, 1.0) ** TRIMMED[1]
    grown = np.where(trimmed, 1 - less, 1.0)[:, None]
    s, sx, sxx, log_s = (
        left @ part for part in (w, w * x[:, None], w * x[:, None] ** 2, np.log(w))
    )
    s = np.maximum(s, 1e-300)
    log_l = 0.5 * (log_s - np.log(s) - (sxx - sx**2 / s) / grown**2)
    others = np.maximum(whole - share, 1e-300)
    factor = np.sqrt(1 + ((share**2).sum() - share**2) / others**2)
    return log_l, factor


def _tail(observed: Floats, units: Floats, found: Prediction, shift: Floats, kind: Kind) -> Floats:
    """Return the mid-P upper tail of each group's count at each shift of its level."""
    own, n, clump = observed[:, None], units[:, None], found.dispersion
    rate = found.expected[:, None] / n
    moved = shifted_rate(rate, np.clip(shift, -FARTHEST, FARTHEST), kind)
    steeper = variance_per_unit(moved, kind) / variance_per_unit(rate, kind)
    variance = clump * steeper * (found.chance[:, None] + steeper * found.error[:, None])
    flip = (rate > 0.5) & (kind == "proportion")
    k, mean = np.where(flip, n - own, own), np.where(flip, n - n * moved, n * moved)
    # Events that come in clusters of this size count as one.
    tail = mid_upper_tail(k / clump, mean / clump, variance / clump**2)
    return np.where(flip, 1 - tail, tail)


def _weights(posterior: Floats, factor: Floats, step: Floats) -> Floats:
    """Return the chance of each step of a group's own shift, shape (groups, 2 STEPS + 1)."""
    edge = (np.arange(-STEPS, STEPS) + 0.5) * step / factor[:, None]
    below = np.einsum("gt,get->ge", posterior, special.ndtr(edge[:, :, None] / SPREADS))
    return np.diff(below, axis=1, prepend=0.0, append=1.0)


def _reaching(reached: Floats, shift: Floats, part: float) -> Floats:
    """Return where a rising tail reaches a part of one; infinite where it never does."""
    rising = np.maximum.accumulate(reached, axis=1)
    found = np.full(len(rising), np.inf)
    for i, (row, at) in enumerate(zip(rising, shift, strict=True)):
        if row[-1] >= part:
            found[i] = np.interp(part, row, at) if row[0] < part else -np.inf
    return found
