"""CUSUM charts: the tabular one, and the risk-adjusted log-likelihood-ratio one.

The log-likelihood-ratio CUSUM gathers, catheter by catheter or month by month,
the evidence for a doubled (or halved) rate against the expected one. It starts
again at zero where there is no such evidence, and signals at a limit found from
a stated in-control run length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.chains import Masses, cusum_limit, lattice_masses
from pipeline.analysis.charts.results import Floats

IN_CONTROL_MONTHS = 120.0
"""Stated months to a false signal unless told otherwise: one in ten years. Our choice."""

UP, DOWN = 2.0, 0.5
"""The changes looked for: a doubling and a halving of the odds (or the rate)."""

MASS_LEFT = 1e-9
"""Chance of larger counts left out of a month's increments."""


@dataclass(frozen=True, eq=False)
class CusumSide:
    """One side of a CUSUM: the change it looks for, its path, limit and signals.

    `path` has one value a step; `signals` are the steps at which the limit was
    reached, after each of which the sum starts again at zero.
    """

    ratio: float
    path: Floats
    limit: float
    in_control_steps: float
    signals: tuple[int, ...]


def tabular(x: Floats, target: float, slack: float) -> tuple[Floats, Floats]:
    r"""Return the upper and lower sums of a tabular CUSUM.

    :math:`S^+_t = \max(0, S^+_{t-1} + x_t - \mu_0 - k)` and its mirror image.

    Parameters
    ----------
    x : float array, shape (m,)
    target, slack : float
        Centre, and half the shift to be found, in the unit of `x`.

    References
    ----------
    Page 1954, Biometrika 41:100-115.
    """
    gap = np.asarray(x, dtype=float) - target
    return _path(gap - slack)[0], _path(-gap - slack)[0]


def _path(increments: Floats, limit: float = np.inf) -> tuple[Floats, tuple[int, ...]]:
    """Add up increments, never under zero, from zero again after each signal."""
    path, signals, total = np.empty(len(increments)), [], 0.0
    for i, step in enumerate(increments):
        total = max(0.0, total + step)
        path[i] = total
        if total >= limit:
            signals.append(i)
            total = 0.0
    return path, tuple(signals)


def episode_increments(outcome: Floats, expected: Floats, ratio: float) -> Floats:
    r"""Return each catheter's log-likelihood ratio for a change of `ratio` in the odds.

    :math:`y \ln R - \ln(1 - p + R p)`, with its own expected chance :math:`p`.

    Parameters
    ----------
    outcome : array of 0 and 1, shape (m,)
    expected : float array, shape (m,)
        Chance of the outcome from the case-mix model, between zero and one.
    ratio : float
        Odds ratio looked for.

    References
    ----------
    Steiner and others 2000, Biostatistics 1:441-452 (recalled, not retrieved).
    """
    expected = np.asarray(expected, dtype=float)
    return np.asarray(outcome) * np.log(ratio) - np.log1p((ratio - 1) * expected)


def rate_increments(events: Floats, expected: Floats, ratio: float) -> Floats:
    r"""Return each period's log-likelihood ratio for a rate times `ratio`.

    :math:`x \ln R - (R - 1) E`, with :math:`E` the expected number of events.
    """
    return np.asarray(events) * np.log(ratio) - (ratio - 1) * np.asarray(expected)


def risk_adjusted_cusum(
    outcome: Floats, expected: Floats, *, ratio: float = UP, in_control_steps: float
) -> CusumSide:
    """Follow catheters in the order of placement.

    Parameters
    ----------
    outcome : array of 0 and 1, shape (m,)
    expected : float array, shape (m,)
        Each catheter's expected chance of the outcome.
    ratio : float
        Odds ratio looked for: above one a worsening, under one an improvement.
    in_control_steps : float
        Catheters to a false signal, such as 370 months times the catheters of a
        month; the limit is found from it.

    Returns
    -------
    CusumSide

    Raises
    ------
    ValueError
        If an outcome is not 0 or 1, or an expected chance not between them.
    """
    outcome, expected = np.asarray(outcome, dtype=float), np.asarray(expected, dtype=float)
    if outcome.shape != expected.shape or not np.isin(outcome, (0, 1)).all():
        raise ValueError("outcomes must be 0 or 1, with one expected chance each")
    if not np.all((expected > 0) & (expected < 1)):
        raise ValueError("an expected chance must lie between zero and one")
    limit = cusum_limit(episode_masses(expected, ratio), in_control_steps)
    path, signals = _path(episode_increments(outcome, expected, ratio), limit)
    return CusumSide(ratio, path, limit, in_control_steps, signals)


def episode_masses(expected: Floats, ratio: float, true_ratio: float = 1.0) -> Masses:
    """Return one catheter's increments over the case mix, for run lengths.

    Parameters
    ----------
    expected : float array, shape (m,)
        Expected chances that stand for the case mix; the order does not matter.
    ratio : float
        Odds ratio that the chart looks for.
    true_ratio : float
        Odds ratio that holds; one in control.
    """
    p = np.asarray(expected, dtype=float)
    chance = p * true_ratio / (1 - p + p * true_ratio)
    with_event = episode_increments(np.ones(p.shape), p, ratio)
    without = episode_increments(np.zeros(p.shape), p, ratio)
    values = np.concatenate([with_event, without])
    return lattice_masses(values, np.concatenate([chance, 1 - chance]) / p.size)


def month_masses(
    volume: Floats, rate: Floats | float, ratio: float, *, proportion: bool, true_ratio: float = 1.0
) -> Masses:
    """Return one month's increments over the months given, each as likely.

    Parameters
    ----------
    volume : float array, shape (m,)
        Catheters (proportion) or catheter-days (rate) of the months.
    rate : float, or float array of shape (m,)
        In-control proportion or rate of each month.
    ratio, true_ratio : float
        Change looked for, and change that holds; odds for a proportion.
    """
    volume = np.asarray(volume, dtype=float)
    rates = np.broadcast_to(np.asarray(rate, dtype=float), volume.shape)
    values, chances = [], []
    for n, p in zip(volume.tolist(), rates.tolist(), strict=True):
        x, chance = _counts(n, p, true_ratio, proportion=proportion)
        values.append(_increments(x, np.asarray(n), np.asarray(p), ratio, proportion=proportion))
        chances.append(chance / volume.size)
    return lattice_masses(np.concatenate(values), np.concatenate(chances))


def _increments(
    events: Floats, volume: Floats, rate: Floats, ratio: float, *, proportion: bool
) -> Floats:
    """Return the log-likelihood ratio of months with these events."""
    if proportion:
        return events * np.log(ratio) - volume * np.log1p((ratio - 1) * rate)
    return rate_increments(events, volume * rate, ratio)


def _counts(n: float, rate: float, true_ratio: float, *, proportion: bool) -> tuple[Floats, Floats]:
    """Return the counts a month may show and their chances."""
    if proportion:
        p = rate * true_ratio / (1 - rate + rate * true_ratio)
        x = np.arange(round(n) + 1.0)
        cdf = special.bdtr(x, round(n), p)
    else:
        mean = n * rate * true_ratio
        x = np.arange(float(special.pdtrik(1 - MASS_LEFT, max(mean, 1e-9))) + 2)
        cdf = special.pdtr(x, mean)
    return x, np.diff(cdf, prepend=0.0)


def monthly_cusum(
    events: Floats,
    volume: Floats,
    rate: Floats | float,
    *,
    ratio: float = UP,
    proportion: bool,
    in_control_months: float = IN_CONTROL_MONTHS,
) -> CusumSide:
    """Follow months, each with its own volume and in-control rate.

    Parameters
    ----------
    events, volume : float array, shape (k,)
        Events, and catheters or catheter-days; months without are skipped.
    rate : float, or float array of shape (k,)
        In-control proportion or rate; one for each month where a case-mix model
        expects more of some months than of others.
    ratio : float
        Change looked for: of the odds (proportion) or of the rate.
    in_control_months : float
        Months to a false signal, from which the limit is found.

    Raises
    ------
    ValueError
        If no month has both volume and a rate that leaves room for events.
    """
    events, volume = np.asarray(events, dtype=float), np.asarray(volume, dtype=float)
    rates = np.broadcast_to(np.asarray(rate, dtype=float), volume.shape)
    there = (volume > 0) & np.isfinite(events) & (rates > 0)
    if proportion:
        there &= rates < 1
    if not there.any():
        raise ValueError("a CUSUM needs a month with catheters and an expected rate above zero")
    masses = month_masses(volume[there], rates[there], ratio, proportion=proportion)
    limit = cusum_limit(masses, in_control_months)
    steps = np.zeros(volume.shape)
    steps[there] = _increments(
        events[there], volume[there], rates[there], ratio, proportion=proportion
    )
    path, signals = _path(steps, limit)
    return CusumSide(ratio, path, limit, in_control_months, signals)
