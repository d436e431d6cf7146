"""When catheters come out: hazard by hour since placement and by hour of the day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.rates import intervals
from pipeline.analysis.survival import curve_limits
from pipeline.analysis.survival.event_counts import EventCounts, Floats, Ints, sums_by

PER_100_CATHETER_DAYS = 2400.0  # from events per catheter-hour
BANDWIDTH_H = 6.0  # a night stays visible, the recording of whole hours does not
STEP_H = 1.0  # of the curve
FEWEST_IN_PLACE = 20  # beyond, the curve would follow single children
SMALLEST_SHARE = 0.25  # of the catheters placed; beyond are those meant to stay longer
NIGHT_STARTS, NIGHT_ENDS = 22, 6  # clock hours, as for the measure night_calls
DAY_H = 24


@dataclass(frozen=True)
class HazardCurve:
    """Smoothed hazard of removal for one reason, per 100 catheter-days, shape (k,)."""

    group: str
    reason: str
    hours: Floats
    hazard: Floats
    lower: Floats
    upper: Floats
    bandwidth_h: float
    events: int


@dataclass(frozen=True)
class ClockHazard:
    """Removals for one reason by clock hour, shape (24,), rates per 100 catheter-days."""

    reason: str
    events: Ints
    catheter_hours: Floats
    rate: Floats
    lower: Floats
    upper: Floats


@dataclass(frozen=True)
class CoursePart:
    """Rate in one part of the course, per 100 catheter-days, with exact limits."""

    part: str
    events: int
    catheter_days: float
    rate: float
    lower: float
    upper: float


def smoothed_hazard(
    counts: EventCounts,
    reason: str,
    *,
    until_h: float = 96.0,
) -> HazardCurve:
    r"""Smooth the increments :math:`d/Y` of the cumulative hazard.

    Epanechnikov's kernel, with its boundary form within a bandwidth of either end.
    The variance is :math:`b^{-2}\sum K^2 d/Y^2` and the limits are on the log scale.
    The curve ends at `until_h`, or where fewer than 20 catheters, or a quarter
    of those placed, remain.

    Parameters
    ----------
    counts : EventCounts
    reason : str
        Code of the reason.
    until_h : float
        Hour at which the curve ends.

    Raises
    ------
    KeyError
        If the reason is not counted.

    References
    ----------
    Ramlau-Hansen 1983, Ann Stat 11:453-466; boundary kernel of Gasser and Müller as
    in Klein and Moeschberger, Survival Analysis, section 6.2 (recalled, not retrieved).
    """
    column = counts.index_of(reason)
    end = _end(counts, until_h)
    grid = np.arange(0.0, end + STEP_H / 2, STEP_H) if end > 0 else np.empty(0)
    happened = (counts.events[:, column] > 0) & (counts.hours <= end)
    at, d = counts.hours[happened], counts.events[happened, column]
    y = counts.at_risk[happened]
    width = min(BANDWIDTH_H, end / 2) if end > 0 else BANDWIDTH_H
    kernel = epanechnikov(grid[:, None], at[None, :], width, end)
    hazard = np.maximum(kernel @ (d / y), 0.0)
    se = np.sqrt(kernel**2 @ (d / y.astype(float) ** 2))
    known = hazard > 0
    spread = np.exp(curve_limits.Z * se / np.where(known, hazard, np.inf))
    lower = np.where(known, hazard / spread, 0.0)
    upper = np.where(known, hazard * spread, np.nan)
    return HazardCurve(
        group=counts.group,
        reason=reason,
        hours=grid,
        hazard=PER_100_CATHETER_DAYS * hazard,
        lower=PER_100_CATHETER_DAYS * lower,
        upper=PER_100_CATHETER_DAYS * upper,
        bandwidth_h=width,
        events=int(d.sum()),
    )


def epanechnikov(at: Floats, events: Floats, width: float, end: float) -> Floats:
    """Kernel weights of events, per hour; each weighs one in all, also near 0 and `end`.

    Parameters
    ----------
    at, events : float array
        Hours; they broadcast together.
    width : float
        Half width, at most half of `end`.
    """
    x = (at - events) / width
    left = np.minimum(at / width, 1.0)
    right = np.minimum((end - at) / width, 1.0)
    # Near the start x reaches from -1 to q; near the end the picture is turned round.
    q = np.where(left < 1, left, right)
    turned = np.where(left < 1, x, -x)
    scale = (1 + q) ** 4 * (19 - 18 * q + 3 * q**2)
    alpha = 64 * (2 - 4 * q + 6 * q**2 - 3 * q**3) / scale
    beta = 240 * (1 - q) ** 2 / scale
    inside = np.abs(x) <= 1
    plain = 0.75 * (1 - x**2)
    weight: Floats = np.where(inside, plain * (alpha + beta * turned), 0.0) / width
    return weight


def by_clock_hour(
    placed_hour: ArrayLike,
    dwell_h: ArrayLike,
    of_reason: ArrayLike,
    n: ArrayLike,
    *,
    reason: str,
) -> ClockHazard:
    """Rate of removal for one reason by hour of the day.

    Parameters
    ----------
    placed_hour : array_like, shape (r,)
        Clock hour of placement, 0 to 23.
    dwell_h : array_like, shape (r,)
        Hours in place. Removals must be exact: an interval has no clock hour.
    of_reason : array_like of bool, shape (r,)
        Whether the removal was for the reason.
    n : array_like, shape (r,)
        Episodes that each row stands for.

    Raises
    ------
    ValueError
        If a clock hour is outside 0 to 23 or a dwell is negative.
    """
    start, dwell, event, count = _course(placed_hour, dwell_h, of_reason, n)
    clock = np.floor(np.mod(start + dwell, DAY_H)).astype(np.int64)
    events = np.rint(sums_by(clock[event], count[event], DAY_H)).astype(np.int64)
    exposure = np.array([count @ _hours_between(start, dwell, h, h + 1) for h in range(DAY_H)])
    rate, limits = _rate(events, exposure)
    return ClockHazard(reason, events, exposure, rate, limits.lower, limits.upper)


def by_part_of_course(
    placed_hour: ArrayLike,
    dwell_h: ArrayLike,
    of_reason: ArrayLike,
    n: ArrayLike,
) -> tuple[CoursePart, ...]:
    """Rate of removal in the first night, later nights and the days; parameters as above.

    A night lasts from 22:00 to 06:00. The first ends at the first 06:00 after
    placement.
    """
    start, dwell, event, count = _course(placed_hour, dwell_h, of_reason, n)
    out = np.mod(start + dwell, DAY_H)
    at_night = (out >= NIGHT_STARTS) | (out < NIGHT_ENDS)
    first_morning = np.where(start < NIGHT_ENDS, NIGHT_ENDS, NIGHT_ENDS + DAY_H) - start
    early = np.minimum(dwell, first_morning)
    night = _night_hours(start, dwell)
    first = _night_hours(start, early)
    in_first = at_night & (dwell < first_morning)
    parts = [
        ("first night", in_first, first),
        ("later nights", at_night & ~in_first, night - first),
        ("days", ~at_night, dwell - night),
    ]
    return tuple(_part(name, event & here, hours, count) for name, here, hours in parts)


def _end(counts: EventCounts, until_h: float) -> float:
    fewest = max(FEWEST_IN_PLACE, SMALLEST_SHARE * counts.episodes)
    enough = counts.hours[counts.at_risk >= fewest]
    return float(min(until_h, enough[-1])) if len(enough) else 0.0


def _course(
    placed_hour: ArrayLike, dwell_h: ArrayLike, of_reason: ArrayLike, n: ArrayLike
) -> tuple[Floats, Floats, np.ndarray, Floats]:
    start, dwell = np.asarray(placed_hour, float), np.asarray(dwell_h, float)
    if np.any((start < 0) | (start >= DAY_H)) or np.any(dwell < 0):
        raise ValueError("a clock hour is outside 0 to 23, or a dwell is negative")
    return start, dwell, np.asarray(of_reason, bool), np.asarray(n, float)


def _hours_between(start: Floats, dwell: Floats, low: float, high: float) -> Floats:
    """Hours of each course that fall between two clock hours, every day of it."""

    def upto(clock: Floats) -> Floats:
        days = np.floor(clock / DAY_H)
        today = np.clip(clock - DAY_H * days - low, 0, high - low)
        total: Floats = days * (high - low) + today
        return total

    return upto(start + dwell) - upto(start)


def _night_hours(start: Floats, dwell: Floats) -> Floats:
    late = _hours_between(start, dwell, NIGHT_STARTS, DAY_H)
    return late + _hours_between(start, dwell, 0, NIGHT_ENDS)


def _part(name: str, event: np.ndarray, hours: Floats, n: Floats) -> CoursePart:
    events, exposure = int(n[event].sum()), float(hours @ n)
    rate, limits = _rate(np.array([events]), np.array([exposure]))
    figures = (float(x[0]) for x in (rate, limits.lower, limits.upper))
    return CoursePart(name, events, exposure / DAY_H, *figures)


def _rate(events: Ints, exposure: Floats) -> tuple[Floats, intervals.ConfidenceLimits]:
    per = np.where(exposure > 0, exposure, np.nan) / PER_100_CATHETER_DAYS
    return events / per, intervals.garwood(events, np.nan_to_num(per))
