"""A change judged against the drift that sites have from quarter to quarter by themselves.

A site's level is never still: staff, families and luck move it for a quarter or two. A
change at three sites is judged against that drift, whose size and persistence are learned
from the quarters themselves, so that few sites still give an answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.analysis.change.segmented import Effect, before_and_after
from pipeline.analysis.comparison.count_models import variance_per_unit
from pipeline.analysis.rates.intervals import TAIL
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MONTHS = 3  # in a quarter
SEASONAL = 8  # quarters that tell season from a change
FEWEST_BEFORE = 4  # quarters, of which the last can be spared
# Drift that is weighed: its SD on the logit or log scale (half-normal prior) and its
# correlation from one quarter to the next. The programme's own choice, no source; checked
# by simulation in tests/analysis/test_drift.py.
SDS = np.geomspace(0.02, 1.2, 12)
PERSISTENCE = np.array([0.0, 0.3, 0.6])
PRIOR_SCALE = 0.5
UNKNOWN = 1e6  # variance of a quarter without any catheter
HALVING = float(np.log(2))
POWERED = float(special.ndtri(1 - TAIL) + special.ndtri(0.8))
MOST_MONTHS, MOST_SITES = 60, 60  # further nobody plans


@dataclass(frozen=True)
class DriftingDifference:
    """The change at its sites over that of the sites without it, in the same quarters.

    Without other sites it is the change at its own sites alone, allowing for season.

    Attributes
    ----------
    effect : Effect
        Ratio (of odds, for a proportion), with 95% limits.
    drift : float
        SD of a site's own drift in a quarter, on the logit or log scale.
    months_needed : int or None
        Months after the change at which four in five halvings would be told; None where
        no 60 months would.
    sites_needed : int or None
        Sites, half of them changed, with which the months there are would do; None where
        no 60 sites would, or there are no others.
    """

    effect: Effect
    drift: float
    months_needed: int | None
    sites_needed: int | None


def drifting_difference(
    numerator: Floats,
    denominator: Floats,
    *,
    first: int,
    changed: Bools,
    kind: Kind,
    dispersion: float = 1.0,
) -> DriftingDifference | None:
    r"""Judge a change by the drift of sites and quarters.

    On the logit or log scale a site's quarter is the site's level, what all sites share in
    the quarter (season and trend), the effect after the change at the sites that changed,
    drift with variance :math:`\sigma^2` and correlation :math:`\rho^{|q - r|}` within a
    site, and chance. The counts are linearised at a fit without drift; the effect is that
    of generalised least squares, mixed over the posterior of :math:`\sigma` and
    :math:`\rho` by restricted likelihood. The quarter before the change is left out where
    four are known: changes are often begun after a bad one.

    Parameters
    ----------
    numerator, denominator : float array, shape (sites, months)
        Counts.
    first : int
        Index of the first month of the change.
    changed : bool array, shape (sites,)
        Sites that made it.
    kind : {"proportion", "rate"}
        The kind of the denominator.
    dispersion : float
        Events that come in clusters of this size count as one.

    Returns
    -------
    DriftingDifference or None
        None where sites of either kind have no event (or, for a proportion, nothing else)
        on either side.

    References
    ----------
    Breslow and Clayton 1993, J Am Stat Assoc 88:9-25, for the linearised mixed model
    (recalled, not retrieved).
    """
    quarter = (np.arange(numerator.shape[1]) - first) // MONTHS
    names = np.unique(quarter)
    y, n = (np.stack([c[:, quarter == q].sum(axis=1) for q in names], axis=1)
            for c in (numerator, denominator))  # fmt: skip
    if (names < 0).sum() >= FEWEST_BEFORE:
        y, n = np.where(names == -1, 0.0, y), np.where(names == -1, 0.0, n)
    after = names >= 0
    if changed.all():  # what moves all sites together is then drift too
        y, n, changed = y.sum(axis=0)[None], n.sum(axis=0)[None], np.array([True])
    start = before_and_after(y, n, changed=changed, after=after, kind=kind)
    if start is None:
        return None
    known, mean = start
    y, n, changed = y[known], n[known], changed[known]
    weight = n * variance_per_unit(mean, kind) / dispersion
    level = special.logit(mean) if kind == "proportion" else np.log(mean)
    seen = weight > 0
    variance = np.where(seen, 1 / np.where(seen, weight, 1.0), UNKNOWN)
    response = level + np.where(seen, (y - n * mean) * variance / dispersion, 0.0)
    shared = np.eye(len(names))[:, 1:] if not changed.all() else _season(names)
    return _mixed(response, variance, changed[:, None] & after, shared)


def _season(quarters: NDArray[np.int64]) -> Floats:
    """Return a wave of a year's length, where two years can tell it from a change."""
    turn = np.pi / 2 * quarters[:, None]
    both = np.hstack([np.sin(turn), np.cos(turn)])
    return both if len(quarters) >= SEASONAL else both[:, :0]


def _mixed(z: Floats, variance: Floats, treated: Bools, shared: Floats) -> DriftingDifference:
    """Mix the effect over drift; `shared` holds what moves all sites, (quarters, terms)."""
    quarters = z.shape[1]
    apart = np.abs(np.subtract.outer(np.arange(quarters), np.arange(quarters)))
    sd, rho = (part.ravel() for part in np.meshgrid(SDS, PERSISTENCE, indexing="ij"))
    drift = sd[:, None, None] ** 2 * rho[:, None, None] ** apart
    inverse = np.linalg.inv(drift[:, None] + variance[:, :, None] * np.eye(quarters))
    log_det = -np.linalg.slogdet(inverse)[1].sum(axis=1)
    # Each site's own level is taken out of its quarters.
    row = inverse.sum(axis=3)
    own = row.sum(axis=2)
    left = inverse - row[:, :, :, None] * row[:, :, None, :] / own[:, :, None, None]
    total, own_effect = left.sum(axis=1), np.einsum("gsqr,sr->gsq", left, treated.astype(float))
    common = shared.T @ total @ shared
    across = (own_effect.sum(axis=1) @ shared)[:, :, None]
    corner = (own_effect * treated).sum(axis=(1, 2))[:, None, None]
    information = np.block([[common, across], [np.swapaxes(across, 1, 2), corner]])
    moved = np.einsum("gsqr,sr->gsq", left, z)
    score = np.append(
        moved.sum(axis=1) @ shared, (moved * treated).sum(axis=(1, 2))[:, None], axis=1
    )
    covariance = np.linalg.pinv(information, hermitian=True)
    estimate = np.einsum("gij,gj->gi", covariance, score)
    squares = (moved * z).sum(axis=(1, 2)) - (estimate * score).sum(axis=1)
    log_l = -0.5 * (log_det + np.log(own).sum(axis=1) + np.linalg.slogdet(information)[1] + squares)
    log_l += np.log(sd) - 0.5 * (sd / PRIOR_SCALE) ** 2
    part = np.exp(log_l - log_l.max())
    part /= part.sum()
    effect = _effect(part, estimate[:, -1], np.sqrt(covariance[:, -1, -1]))
    typical = float(part @ sd**2)
    lasting = float(part @ (sd**2 * (1 + rho) / (1 - rho)))
    return DriftingDifference(effect, float(np.sqrt(typical)), *_needed(lasting, variance, treated))


def _effect(part: Floats, estimate: Floats, error: Floats) -> Effect:
    """Return the mixture's middle, limits and two-sided p-value."""
    at = np.linspace((estimate - 7 * error).min(), (estimate + 7 * error).max(), 4001)
    below = part @ special.ndtr((at - estimate[:, None]) / error[:, None])
    lower, upper = np.interp([TAIL, 1 - TAIL], below, at)
    zero = float(part @ special.ndtr(-estimate / error))
    ratio, low, high = (float(np.exp(x)) for x in (part @ estimate, lower, upper))
    return Effect(ratio, low, high, 2 * min(zero, 1 - zero))


def _needed(drift: float, variance: Floats, treated: Bools) -> tuple[int | None, int | None]:
    """Return the months after the change, or the sites, that would tell a halving."""
    seen, after = variance < UNKNOWN, treated.any(axis=0)
    quarterly = 1 / float(np.mean(1 / (drift + variance[seen])))
    before, now = seen[:, ~after].any(axis=0).sum(), after.sum()
    changed = int(treated.any(axis=1).sum())
    others = len(treated) - changed
    arms = 1 / changed + (1 / others if others else 0.0)
    allowed = (HALVING / POWERED) ** 2
    room = allowed / (quarterly * arms) - 1 / before
    months = int(np.ceil(1 / room)) * MONTHS if room > 0 else MOST_MONTHS + 1
    sites = 2 * int(np.ceil(2 * quarterly * (1 / before + 1 / now) / allowed))
    return (
        months if months <= MOST_MONTHS else None,
        sites if others and sites <= MOST_SITES else None,
    )
