"""A measure's rate with its limits, its ascertainment and its sensitivity range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.analysis.rates import intervals

Floats = NDArray[np.float64]
Kind = Literal["proportion", "rate"]

LOW_ASCERTAINMENT = 0.80  # below it the row is marked; the programme's own choice


@dataclass(frozen=True)
class Rates:
    """Rates and limits in the measure's unit (already times `multiplier`).

    `lower` and `upper` are NaN, as is `rate`, where the denominator is zero.
    """

    numerator: Floats
    denominator: Floats
    rate: Floats
    lower: Floats
    upper: Floats
    kind: Kind
    multiplier: float


@dataclass(frozen=True)
class Sensitivity:
    """The rate if no episode with a missing numerator had the event, and if all had."""

    all_without: Floats
    all_with: Floats


def rates(
    numerator: ArrayLike,
    denominator: ArrayLike,
    *,
    kind: Kind,
    multiplier: float = 100.0,
    dispersion: float = 1.0,
) -> Rates:
    """Rate with limits: Wilson for a proportion, exact Poisson (Garwood) for a rate.

    Events that come in clusters of a size above one count as one, with mid-P limits.

    Parameters
    ----------
    numerator, denominator : array_like
        Counts, or events and catheter-days; they broadcast together. A
        denominator of zero gives NaN.
    kind : {"proportion", "rate"}
        The kind of the measure's denominator: a number of things that either
        have the event or not, or an exposure.
    multiplier : float
        The measure's unit: 100 for "per 100".
    dispersion : float
        Variance of a rate's events over that of independent ones, at least 1; what a
        child's events share with each other makes it larger.

    Raises
    ------
    ValueError
        If a count is negative, a proportion's numerator is above its
        denominator, or the kind is unknown.

    Examples
    --------
    >>> r = rates(0, 20, kind="proportion")
    >>> float(r.rate), round(float(r.upper), 2)
    (0.0, 16.11)
    """
    x, n = np.broadcast_arrays(np.asarray(numerator, float), np.asarray(denominator, float))
    if kind == "proportion":
        limits = intervals.wilson(x, n)
    elif kind == "rate":
        limits = (
            intervals.poisson_mid_p(x / dispersion, n / dispersion)
            if dispersion > 1
            else intervals.garwood(x, n)
        )
    else:
        raise ValueError(f"unknown kind of denominator: {kind}")
    rate = x / np.where(n > 0, n, np.nan)
    return Rates(
        x,
        n,
        rate * multiplier,
        limits.lower * multiplier,
        limits.upper * multiplier,
        kind,
        multiplier,
    )


def ascertainment(ascertained: ArrayLike, episodes: ArrayLike) -> Floats:
    """Episodes with a numerator ÷ episodes, from 0 to 1; NaN where there are none."""
    have, of = np.broadcast_arrays(np.asarray(ascertained, float), np.asarray(episodes, float))
    return have / np.where(of > 0, of, np.nan)


def sensitivity(
    numerator: ArrayLike,
    denominator: ArrayLike,
    missing_episodes: ArrayLike,
    missing_denominator: ArrayLike,
    *,
    kind: Kind,
    multiplier: float = 100.0,
) -> Sensitivity:
    """Range of the rate over what the missing numerators could have been.

    Parameters
    ----------
    numerator, denominator : array_like
        Of the episodes whose numerator is known.
    missing_episodes : array_like
        Episodes whose numerator is missing.
    missing_denominator : array_like
        Their share of the denominator (the catheters, or the catheter-days).
    kind, multiplier
        As for :func:`rates`. "All with the event" means every unit of a
        proportion's missing denominator, and one event an episode for a rate.

    Returns
    -------
    Sensitivity
        In the measure's unit; NaN where the whole denominator is zero.
    """
    x, n = np.asarray(numerator, float), np.asarray(denominator, float)
    extra = np.asarray(missing_denominator, float)
    worst = extra if kind == "proportion" else np.asarray(missing_episodes, float)
    whole = np.where(n + extra > 0, n + extra, np.nan)
    return Sensitivity(x / whole * multiplier, (x + worst) / whole * multiplier)
