"""Why catheters come out: cumulative incidence of each reason, the others competing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.rates.intervals import ConfidenceLimits
from pipeline.analysis.survival import curve_limits
from pipeline.analysis.survival.event_counts import EventCounts, Floats, Ints

CERTAIN = 1e-13  # an incidence this near to one is one


@dataclass(frozen=True)
class IncidenceAt:
    """Incidences read at chosen hours, shape (k, r); NaN beyond follow-up."""

    hours: Floats
    reasons: tuple[str, ...]
    incidence: Floats
    se: Floats
    lower: Floats
    upper: Floats
    still_in_place: Floats


@dataclass(frozen=True)
class TimeLost:
    """Mean hours lost to each reason up to `until_h`, shape (r,), with standard errors.

    With the restricted mean time in place they add to `until_h`.
    """

    reasons: tuple[str, ...]
    hours: Floats
    se: Floats
    until_h: float


@dataclass(frozen=True)
class Incidence:
    """Aalen-Johansen estimate of the incidence of each reason.

    Attributes
    ----------
    hours : float array, shape (m,)
        Hours at which a catheter was removed or last known in place.
    incidence, se, lower, upper : float array, shape (m, r)
        Proportion removed for each reason by each hour, the Greenwood-type
        standard error and log(-log) limits.
    still_in_place : float array, shape (m,)
        Proportion still in place; with `incidence` it adds to one.
    at_risk : int array, shape (m,)
        Catheters known in place just before each hour.
    events : int array, shape (m, r)
        Catheters removed at each hour by reason.
    """

    group: str
    reasons: tuple[str, ...]
    hours: Floats
    at_risk: Ints
    events: Ints
    incidence: Floats
    se: Floats
    lower: Floats
    upper: Floats
    still_in_place: Floats

    @property
    def episodes(self) -> int:
        """Catheters counted."""
        return int(self.at_risk[0]) if len(self.at_risk) else 0

    def at(self, hours: ArrayLike) -> IncidenceAt:
        """Read the incidences at chosen hours, shape (k,)."""
        asked = np.atleast_1d(np.asarray(hours, float))
        row = np.searchsorted(self.hours, asked, "right")
        known = self._known(asked)
        zero = np.zeros((1, len(self.reasons)))
        none_yet = zero + curve_limits.none_of(np.array([self.episodes]))

        def read(curve: Floats, start: Floats) -> Floats:
            values = np.concatenate([start, curve])[row]
            mask = known if values.ndim == 1 else known[:, None]
            picked: Floats = np.where(mask, values, np.nan)
            return picked

        return IncidenceAt(
            hours=asked,
            reasons=self.reasons,
            incidence=read(self.incidence, zero),
            se=read(self.se, zero),
            lower=read(self.lower, zero),
            upper=read(self.upper, none_yet),
            still_in_place=read(self.still_in_place, np.ones(1)),
        )

    def time_lost(self, until_h: float) -> TimeLost:
        r"""Mean hours lost to each reason: the area under each incidence to `until_h`.

        Its variance is the delta method on the increments of the cumulative
        hazards, multinomial at each hour; with one reason it is that of the
        restricted mean.

        Raises
        ------
        ValueError
            If follow-up ends before `until_h` with catheters still in place.

        References
        ----------
        Andersen 2013, Stat Med 32:5278-5285 (recalled, not retrieved).
        """
        if not np.all(self._known(np.array([until_h]))):
            raise ValueError("follow-up ends before the hour that the mean is restricted to")
        keep = self.hours < until_h
        width = np.diff(np.append(self.hours[keep], until_h))
        area = self.incidence[keep] * width[:, None]
        remaining = area[::-1].cumsum(axis=0)[::-1]
        left = until_h - self.hours[keep]
        # Area still to come beyond what is reached at the hour itself.
        to_come = remaining - self.incidence[keep] * left[:, None]
        variance = self._area_variance(keep, left, to_come)
        return TimeLost(self.reasons, area.sum(axis=0), np.sqrt(variance), until_h)

    def _area_variance(self, keep: np.ndarray, left: Floats, to_come: Floats) -> Floats:
        before = np.concatenate([[1.0], self.still_in_place[:-1]])[keep]
        own, shared, total = _hazard_covariance(self.at_risk[keep], self.events[keep])
        after = self.still_in_place[keep]
        fraction = np.where(after[:, None] > 0, to_come / np.where(after > 0, after, 1)[:, None], 0)
        terms = (
            left[:, None] ** 2 * own
            - 2 * left[:, None] * fraction * shared
            + fraction**2 * total[:, None]
        )
        variance: Floats = np.sum(before[:, None] ** 2 * terms, axis=0)
        return np.maximum(variance, 0.0)

    def _known(self, asked: Floats) -> np.ndarray:
        if not len(self.hours):
            return np.zeros(asked.shape, bool)
        return (asked <= self.hours[-1]) | (self.still_in_place[-1] == 0.0)


def incidence(counts: EventCounts) -> Incidence:
    r"""Estimate the cumulative incidence of every reason at once.

    :math:`\hat F_j(t) = \sum_{t_i \le t} \hat S(t_{i-1}) d_{ij} / Y_i`, tied hours
    taken as ties: nothing is moved apart, so the same data give the same digits.
    The variance is the Greenwood-type one, carried forward hour by hour.

    Parameters
    ----------
    counts : EventCounts
        Episodes at distinct hours.

    Returns
    -------
    Incidence
        A reason not yet seen has lower limit 0 and the exact binomial upper limit for
        the catheters followed so far.

    References
    ----------
    Aalen and Johansen 1978, Scand J Stat 5:141-150; figures of CR-02, CR-03 and
    CR-04 in tests/reference.
    """
    at_risk, events = counts.at_risk, counts.events
    share = events / np.maximum(at_risk, 1)[:, None]
    staying = np.where(at_risk > 0, 1 - counts.removed_at / np.maximum(at_risk, 1), 1.0)
    in_place = np.cumprod(staying, dtype=float)
    before = np.concatenate([[1.0], in_place[:-1]])
    estimate = np.cumsum(before[:, None] * share, axis=0)
    # All out for one reason: one, less the rounding of the sum.
    certain = estimate >= 1 - CERTAIN
    estimate = np.where(certain, 1.0, estimate)
    se = np.where(certain, 0.0, np.sqrt(_variance(at_risk, events, before)))
    followed = counts.episodes - (np.cumsum(counts.censored) - counts.censored)
    limits = _with_zero(estimate, se, followed)
    return Incidence(
        counts.group,
        counts.reasons,
        counts.hours,
        at_risk,
        events,
        estimate,
        se,
        limits.lower,
        limits.upper,
        in_place,
    )


def _variance(at_risk: Ints, events: Ints, before: Floats) -> Floats:
    """Variance of each incidence at each hour, shape (m, r).

    The covariance of (still in place, incidence) is carried from hour to hour by
    the delta method. In closed form it is three running sums of small terms,
    which lose no digits as the difference of large ones would.
    """
    y = np.maximum(at_risk, 1).astype(float)
    share = events / y[:, None]
    own, _, _ = _hazard_covariance(at_risk, events)
    left = at_risk - events.sum(axis=1)
    spread = np.where(left > 0, events.sum(axis=1) / np.where(left > 0, y * left, 1), 0.0)
    # Running sums up to, not including, each hour.
    relative = np.cumsum(spread) - spread
    step = share * (before * relative)[:, None] - before[:, None] * events / y[:, None] ** 2
    joint = np.cumsum(step, axis=0) - step
    s = before[:, None]
    terms = 2 * share * s * joint + share**2 * s**2 * relative[:, None] + s**2 * own
    return np.maximum(np.cumsum(terms, axis=0), 0.0)


def _hazard_covariance(at_risk: Ints, events: Ints) -> tuple[Floats, Floats, Floats]:
    """Multinomial covariance of the hazard increments at each hour.

    Returns
    -------
    own : float array, shape (m, r)
        Variance of each reason's increment.
    shared : float array, shape (m, r)
        Covariance of each reason's increment with that of all reasons.
    total : float array, shape (m,)
        Variance of the increment of all reasons.
    """
    y = np.maximum(at_risk, 1).astype(float)[:, None]
    d = events.sum(axis=1)[:, None]
    own = events * (y - events) / y**3
    shared = events * (y - d) / y**3
    return own, shared, (d * (y - d) / y**3)[:, 0]


def _with_zero(estimate: Floats, se: Floats, followed: Ints) -> ConfidenceLimits:
    limits = curve_limits.log_log(estimate, se)
    unseen, certain = estimate == 0.0, estimate == 1.0
    none = curve_limits.none_of(followed)[:, None]
    lower = np.where(unseen, 0.0, np.where(certain, 1 - none, limits.lower))
    upper = np.where(unseen, none, np.where(certain, 1.0, limits.upper))
    return ConfidenceLimits(lower, upper)
