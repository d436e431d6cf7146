"""Time in place: the proportion of catheters still in place, hour by hour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.rates.intervals import ConfidenceLimits
from pipeline.analysis.survival import curve_limits
from pipeline.analysis.survival.event_counts import EventCounts, Floats, Ints

AT_RISK_HOURS = tuple(12.0 * n for n in range(11))  # under the plot
HALF_TOLERANCE = 1e-12  # a product of fractions that is a half in exact arithmetic


@dataclass(frozen=True)
class StillInPlace:
    """The curve read at chosen hours.

    `n` is the number known in place just before the hour. Beyond the longest
    follow-up the curve is not known (NaN) unless every catheter was out by then.
    """

    hours: Floats
    n: Ints
    estimate: Floats
    lower: Floats
    upper: Floats


@dataclass(frozen=True)
class Quantile:
    """A quantile of time in place in hours; NaN where the curve does not reach it."""

    hours: float
    lower: float
    upper: float


@dataclass(frozen=True)
class RestrictedMean:
    """Mean hours in place up to `until_h`, with the standard error of the estimate.

    Error and limits are NaN where no spread is seen: one catheter, or none out before.
    """

    hours: float
    se: float
    lower: float
    upper: float
    until_h: float


@dataclass(frozen=True)
class TimeInPlace:
    """Kaplan-Meier estimate of the proportion still in place.

    Attributes
    ----------
    hours : float array, shape (m,)
        Hours at which a catheter was removed or last known in place.
    at_risk, removed : int array, shape (m,)
        Known in place just before, and removed at, each hour.
    estimate, se, lower, upper : float array, shape (m,)
        Proportion still in place just after each hour, Greenwood standard error
        and log(-log) limits.
    """

    group: str
    hours: Floats
    at_risk: Ints
    removed: Ints
    estimate: Floats
    se: Floats
    lower: Floats
    upper: Floats

    @property
    def episodes(self) -> int:
        """Catheters counted."""
        return int(self.at_risk[0]) if len(self.at_risk) else 0

    def at(self, hours: ArrayLike) -> StillInPlace:
        """Read the curve at chosen hours, shape (k,)."""
        asked = np.atleast_1d(np.asarray(hours, float))
        row = np.searchsorted(self.hours, asked, "right")
        known = _within_follow_up(self, asked)
        none_yet = 1 - float(curve_limits.none_of(np.array([self.episodes]))[0])
        values = [
            np.where(known, np.concatenate([[start], curve])[row], np.nan)
            for start, curve in ((1.0, self.estimate), (none_yet, self.lower), (1.0, self.upper))
        ]
        remaining = np.append(self.at_risk, 0)
        n = remaining[np.searchsorted(self.hours, asked, "left")]
        return StillInPlace(asked, n, *values)

    @property
    def median(self) -> Quantile:
        """Hours by which half of the catheters were out."""
        return self.quantile(0.5)

    def quantile(self, proportion: float) -> Quantile:
        """Return the hours by which `proportion` of the catheters were out.

        Where the curve lies level at exactly that height, the middle of the level
        stretch is taken. The limits are where the curve's own limits cross the
        same height (Brookmeyer and Crowley 1982, Biometrics 38:29-41); there is no
        lower one where it lies below that height from the start (five catheters or
        fewer, for a half).
        """
        height = 1 - proportion
        hours, lower, upper = (
            _crossing(self.hours, curve, height)
            for curve in (self.estimate, self.lower, self.upper)
        )
        at_start = 1 - float(curve_limits.none_of(np.array([self.episodes]))[0])
        return Quantile(hours, lower if at_start > height else float("nan"), upper)

    def restricted_mean(self, until_h: float) -> RestrictedMean:
        r"""Mean hours in place, counting no hour after `until_h`.

        The area under the curve. Its variance is that of the estimator,
        :math:`\sum_i A_i^2 d_i / (Y_i (Y_i - d_i))` with :math:`A_i` the area
        from hour i to the end, without a small-sample factor.

        Raises
        ------
        ValueError
            If follow-up ends before `until_h` with catheters still in place.

        References
        ----------
        Klein and Moeschberger, Survival Analysis, section 4.5 (recalled, not
        retrieved); figures of SV-04 in tests/reference.
        """
        if not np.all(_within_follow_up(self, np.array([until_h]))):
            raise ValueError("follow-up ends before the hour that the mean is restricted to")
        keep = self.hours < until_h
        steps = np.concatenate([[0.0], self.hours[keep], [until_h]])
        heights = np.concatenate([[1.0], self.estimate[keep]])
        areas = heights * np.diff(steps)
        after = areas[::-1].cumsum()[::-1][1:]
        mean = float(areas.sum())
        terms = greenwood_terms(self.at_risk, self.removed)[keep]
        se = float(np.sqrt(np.sum(after**2 * terms))) or float("nan")
        half = curve_limits.Z * se
        lower, upper = np.maximum(mean - half, 0.0), np.minimum(mean + half, until_h)
        return RestrictedMean(mean, se, float(lower), float(upper), until_h)


def time_in_place(counts: EventCounts) -> TimeInPlace:
    r"""Estimate the proportion still in place; removal for any reason is the event.

    :math:`\hat S(t) = \prod_{t_i \le t} (1 - d_i / Y_i)`. A catheter last known in
    place at the hour of a removal counts as at risk of it.

    Parameters
    ----------
    counts : EventCounts
        Episodes at distinct hours.

    Returns
    -------
    TimeInPlace
        Where the log(-log) limits are undefined the exact binomial ones stand in:
        nothing removed yet gives a lower limit, nothing left gives an upper one.

    References
    ----------
    Kaplan and Meier 1958, J Am Stat Assoc 53:457-481; figures of SV-01 in
    tests/reference.
    """
    at_risk, removed = counts.at_risk, counts.removed_at
    staying = np.where(at_risk > 0, 1 - removed / np.maximum(at_risk, 1), 1.0)
    estimate = np.cumprod(staying, dtype=float)
    with np.errstate(invalid="ignore"):
        se = estimate * np.sqrt(np.cumsum(greenwood_terms(at_risk, removed)))
    limits = _with_ends(estimate, se, at_risk)
    return TimeInPlace(
        counts.group,
        counts.hours,
        at_risk,
        removed,
        estimate,
        se,
        limits.lower,
        limits.upper,
    )


def greenwood_terms(at_risk: Ints, removed: Ints) -> Floats:
    """D / (Y (Y - d)) at each hour; 0 where every catheter at risk was removed.

    After such an hour the curve is 0 and its variance with it.
    """
    left = at_risk - removed
    safe = np.where(left > 0, at_risk * left.astype(float), 1.0)
    terms: Floats = np.where(left > 0, removed / safe, 0.0)
    return terms


def _with_ends(estimate: Floats, se: Floats, at_risk: Ints) -> ConfidenceLimits:
    """Log(-log) limits, with exact ones where the curve is at 1 or 0."""
    limits = curve_limits.log_log(estimate, se)
    untouched, empty = estimate == 1.0, estimate == 0.0
    none_yet = 1 - curve_limits.none_of(at_risk)
    before = np.concatenate([[1.0], estimate[:-1]])
    # Zero left of the last Y, times the curve just before them.
    none_left = before * curve_limits.none_of(at_risk)
    lower = np.where(untouched, none_yet, np.where(empty, 0.0, limits.lower))
    upper = np.where(untouched, 1.0, np.where(empty, none_left, limits.upper))
    return ConfidenceLimits(lower, upper)


def _within_follow_up(curve: TimeInPlace, asked: Floats) -> np.ndarray:
    """Tell at which hours the curve is known."""
    if not len(curve.hours):
        return np.zeros(asked.shape, bool)
    return (asked <= curve.hours[-1]) | (curve.estimate[-1] == 0.0)


def _crossing(hours: Floats, curve: Floats, height: float) -> float:
    """First hour at which a falling curve reaches `height`."""
    with np.errstate(invalid="ignore"):
        reached = np.flatnonzero(curve <= height + HALF_TOLERANCE)
    if not len(reached):
        return float("nan")
    first = int(reached[0])
    if abs(curve[first] - height) > HALF_TOLERANCE:
        return float(hours[first])
    below = np.flatnonzero(curve < height - HALF_TOLERANCE)
    return float((hours[first] + hours[below[0]]) / 2) if len(below) else float(hours[first])
