"""Funnel plots: each group's rate against its volume, with limits round the centre.

A funnel asks how far a group's figure lies from the whole network's, given how
many it treated. It has no order of merit, and none is made from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pipeline.analysis.rates import distributions
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]

# Tail areas of the two pairs of limits: 95% and 99.8% (Spiegelhalter 2005).
INNER_TAIL = 0.025
OUTER_TAIL = 0.001
WINSORISED = 0.10  # share of the standardised values pulled in at each end
CURVE_POINTS = 200


@dataclass(frozen=True)
class FunnelLimits:
    """The 95% and 99.8% limits at some volumes, in the measure's unit."""

    volume: Floats
    lower_95: Floats
    upper_95: Floats
    lower_998: Floats
    upper_998: Floats


@dataclass(frozen=True)
class GroupDispersion:
    """How much more the groups differ than chance alone would have them.

    Attributes
    ----------
    phi : float
        Mean square of the standardised values; 1 when only chance is at work.
    tau_squared : float
        Variance between groups, on the scale of the rate before the multiplier.
    p_value : float
        Of groups × phi on chi-square with as many degrees of freedom.
    """

    phi: float
    tau_squared: float
    p_value: float


@dataclass(frozen=True)
class Funnel:
    """A funnel plot ready to draw; arrays hold one value a group, in `groups` order."""

    groups: tuple[str, ...]
    numerator: Floats
    denominator: Floats
    rate: Floats
    centre: float
    limits: FunnelLimits
    curve: FunnelLimits
    dispersion: GroupDispersion
    is_widened: bool
    status: tuple[str, ...]
    kind: Kind
    multiplier: float


def exact_limit(expected_n: ArrayLike, centre: float, tail: float, kind: Kind) -> Floats:
    r"""Interpolated exact limit of a rate at a volume.

    With :math:`r` the smallest count whose cumulative probability reaches
    `tail` and :math:`\alpha = (F(r) - tail) / (F(r) - F(r-1))`, the limit is
    :math:`(r - \alpha) / n`. It is not clipped here: below zero means that no
    count is low enough.

    Parameters
    ----------
    expected_n : array_like
        Catheters, or exposure, above zero.
    centre : float
        The rate under no difference, per unit of `expected_n`.
    tail : float
        Cumulative probability, 0.025 for a lower 95% limit.
    kind : {"proportion", "rate"}
        Binomial or Poisson.

    References
    ----------
    Spiegelhalter 2005, Stat Med 24:1185-1202, appendix (formula recalled, not
    retrieved).
    """
    n = np.asarray(expected_n, float)
    if kind == "proportion":
        r = distributions.binomial_quantile(tail, n, centre)
        at, before = (distributions.binomial_at_most(x, n, centre) for x in (r, r - 1))
    else:
        r = distributions.poisson_quantile(tail, n * centre)
        at, before = (distributions.poisson_at_most(x, n * centre) for x in (r, r - 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        alpha = np.where(at > tail, (at - tail) / (at - before), 0.0)
    return (r - alpha) / n


def standardised_rates(
    numerator: ArrayLike, denominator: ArrayLike, centre: float, kind: Kind
) -> tuple[Floats, Floats]:
    """Return (z, s): distance from the centre in standard errors, and the errors."""
    x, n = np.asarray(numerator, float), np.asarray(denominator, float)
    variance = centre * (1 - centre) if kind == "proportion" else centre
    s = np.sqrt(variance / n)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(s > 0, (x / n - centre) / s, 0.0)
    return z, s


def group_dispersion(
    z: ArrayLike, s: ArrayLike, *, winsorised: float = WINSORISED
) -> GroupDispersion:
    r"""Over-dispersion of standardised values, pulling in the extremes first.

    Values beyond the `winsorised` and 1 - `winsorised` quantiles (linear
    interpolation) are set to them; :math:`\phi` is the mean of the squares;
    :math:`\tau^2 = \max(0, (I\phi - (I-1)) / (\sum w - \sum w^2 / \sum w))`
    with :math:`w = 1/s^2`.

    References
    ----------
    Spiegelhalter 2005, Stat Med 24:1185-1202, and Qual Saf Health Care
    14:347-351 (formulas recalled, not retrieved).
    """
    pulled_in, w = np.asarray(z, float), 1 / np.square(np.asarray(s, float))
    if winsorised > 0:
        pulled_in = np.clip(pulled_in, *np.quantile(pulled_in, [winsorised, 1 - winsorised]))
    count = pulled_in.size
    phi = float(np.mean(pulled_in**2))
    spread = w.sum() - (w**2).sum() / w.sum()
    tau_squared = max(0.0, float((count * phi - (count - 1)) / spread)) if count > 1 else 0.0
    return GroupDispersion(phi, tau_squared, float(special.chdtrc(count, count * phi)))


def funnel(
    groups: Sequence[str],
    numerator: ArrayLike,
    denominator: ArrayLike,
    *,
    kind: Kind,
    multiplier: float = 100.0,
    centre: float | None = None,
    winsorised: float = WINSORISED,
) -> Funnel:
    """Place groups in a funnel round the overall rate.

    Limits are exact. Where the groups are over-dispersed (winsorised phi above
    one) they are widened to centre ± z·sqrt(phi)·s, and are never narrower
    than the exact ones.

    Parameters
    ----------
    groups : sequence of str
        Labels. Their order is kept; give them by name or by volume.
    numerator, denominator : array_like, shape (groups,)
        Counts, or events and exposure (or observed and expected, with a centre
        of 1 and a multiplier of 1).
    kind : {"proportion", "rate"}
        Binomial or Poisson.
    multiplier : float
        The measure's unit.
    centre : float, optional
        The rate under no difference, before the multiplier; the overall rate
        unless given.
    winsorised : float
        Share of the standardised values pulled in at each end.

    Raises
    ------
    ValueError
        If there is no group, or a denominator is not above zero.
    """
    x, n = np.asarray(numerator, float), np.asarray(denominator, float)
    if x.size == 0 or np.any(n <= 0):
        raise ValueError("a funnel needs groups with a denominator above zero")
    middle = float(x.sum() / n.sum()) if centre is None else centre
    z, s = standardised_rates(x, n, middle, kind)
    spread = (
        group_dispersion(z, s, winsorised=winsorised)
        if np.all(s > 0)
        else GroupDispersion(0.0, 0.0, 1.0)
    )
    phi = max(1.0, spread.phi)
    at = _limits(n, middle, kind, multiplier, phi)
    grid = np.unique(_volumes(n, kind))
    return Funnel(
        groups=tuple(groups),
        numerator=x,
        denominator=n,
        rate=x / n * multiplier,
        centre=middle * multiplier,
        limits=at,
        curve=_limits(grid, middle, kind, multiplier, phi),
        dispersion=spread,
        is_widened=phi > 1,
        status=_status(x / n * multiplier, at),
        kind=kind,
        multiplier=multiplier,
    )


def _volumes(n: Floats, kind: Kind) -> Floats:
    grid = np.geomspace(max(n.min() * 0.7, 1e-9), n.max() * 1.1, CURVE_POINTS)
    return np.maximum(np.round(grid), 1.0) if kind == "proportion" else grid


def _limits(n: Floats, centre: float, kind: Kind, multiplier: float, phi: float) -> FunnelLimits:
    top = 1.0 if kind == "proportion" else np.inf
    variance = centre * (1 - centre) if kind == "proportion" else centre
    s = np.sqrt(phi * variance / n)

    def limit(tail: float) -> Floats:
        exact = exact_limit(n, centre, tail, kind)
        if phi > 1:
            widest = np.minimum if tail < 0.5 else np.maximum
            exact = widest(exact, centre + special.ndtri(tail) * s)
        return np.clip(exact, 0.0, top) * multiplier

    return FunnelLimits(
        n, limit(INNER_TAIL), limit(1 - INNER_TAIL), limit(OUTER_TAIL), limit(1 - OUTER_TAIL)
    )


def _status(rate: Floats, at: FunnelLimits) -> tuple[str, ...]:
    outer = (rate < at.lower_998) | (rate > at.upper_998)
    inner = (rate < at.lower_95) | (rate > at.upper_95)
    words = np.where(outer, "outside 99.8%", np.where(inner, "outside 95%", "inside"))
    return tuple(str(word) for word in words)
