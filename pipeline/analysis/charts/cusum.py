"""Log-likelihood-ratio CUSUM by month of placement, for a proportion or a rate, risk-adjusted.

Each catheter adds its evidence for a doubled (or halved) rate against what was
expected of it. The evidence of the catheters placed in one month is added up
together, since within a month the order of catheters of different sites is not
recorded. The sum starts again at zero where it falls below, and signals at a limit
found from a stated in-control run length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.chains import Masses, cusum_limit, cusum_run_length, lattice_masses
from pipeline.analysis.charts.results import Flags, Floats, Ints
from pipeline.analysis.charts.simulate import FULL, Effort

IN_CONTROL_MONTHS = 120.0
"""Stated months to a false signal unless told otherwise: one in ten years. Our choice."""

UP, DOWN = 2.0, 0.5
"""The changes looked for: a doubling and a halving of the odds (or the rate)."""

REACH = 9.0
"""Standard deviations from the mean within which a month's counts are followed."""


@dataclass(frozen=True, eq=False)
class Risk:
    """How many events were expected in each month, from the risk of its catheters.

    Attributes
    ----------
    month : int array, shape (r,)
        Month that each row belongs to, from 0; a row holds catheters alike in risk.
    volume : float array, shape (r,)
        Catheters (proportion) or catheter-days (rate).
    rate : float array, shape (r,)
        Expected proportion or rate, in control.
    months : int
        Number of months.
    proportion : bool
    """

    month: Ints
    volume: Floats
    rate: Floats
    months: int
    proportion: bool

    @classmethod
    def alike(cls, volume: Floats, rate: Floats | float, *, proportion: bool) -> Risk:
        """Return the risk of months whose catheters are all alike."""
        volume = np.asarray(volume, dtype=float)
        rates = np.broadcast_to(np.asarray(rate, dtype=float), volume.shape)
        return cls(np.arange(volume.size), volume, rates, volume.size, proportion)

    def total(self, weights: Floats) -> Floats:
        """Add up rows by month."""
        return np.bincount(self.month, weights, self.months).astype(float)

    @property
    def expected(self) -> Floats:
        """Events expected in each month; NaN where a rate is not known."""
        return self.total(self.volume * self.rate)

    @property
    def leaves_room(self) -> Flags:
        """Months in which both events and none can come, so that a count is evidence."""
        expected = self.expected
        room = self.total(self.volume) - expected if self.proportion else np.ones(self.months)
        return (expected > 0) & (room > 0)

    def evidence(self, events: Floats, ratio: float) -> Floats:
        r"""Return each month's log-likelihood ratio for a change of `ratio`.

        :math:`\sum_i [y_i \ln R - \ln(1 - p_i + R p_i)]` over the catheters of a month,
        each with its own expected chance :math:`p_i`; for a rate
        :math:`x \ln R - (R - 1) E`.

        References
        ----------
        Steiner and others 2000, Biostatistics 1:441-452 (recalled, not retrieved).
        """
        against = np.log1p((ratio - 1) * self.rate) if self.proportion else (ratio - 1) * self.rate
        return np.asarray(events) * np.log(ratio) - self.total(self.volume * against)

    def counts(self, true_ratio: float) -> tuple[Ints, Floats]:
        """Return trials and chance of the binomial that each month's events follow.

        Catheters of unlike risk do not give a binomial count; one of the same mean and
        (but for whole trials) the same variance stands for it. For a rate the trials
        are zero and the second figure is the mean of a Poisson count.

        References
        ----------
        Choi and Xia 2002, Annals of Applied Probability 12:1139-1149, on how close
        this is (recalled, not retrieved).
        """
        if not self.proportion:
            return np.zeros(self.months, np.int64), self.expected * true_ratio
        p = self.rate * true_ratio / (1 - self.rate + self.rate * true_ratio)
        mean, square = self.total(self.volume * p), self.total(self.volume * p * p)
        with np.errstate(divide="ignore", invalid="ignore"):
            trials = np.nan_to_num(np.maximum(np.rint(mean**2 / square), np.ceil(mean)))
            return trials.astype(np.int64), np.nan_to_num(mean / np.maximum(trials, 1))


@dataclass(frozen=True, eq=False)
class CusumSide:
    """One side of a CUSUM: the change it looks for, its path, limits and signals.

    `path` and `limit` have one value a month; `signals` are the months in which the
    limit was reached, after each of which the sum starts again at zero.
    """

    ratio: float
    path: Floats
    limit: Floats
    signals: tuple[int, ...]


def accumulate(
    increments: Floats, limit: Floats | float = np.inf, anew: Flags | None = None
) -> tuple[Floats, tuple[int, ...]]:
    r"""Add up increments, never under zero, from zero again after each signal.

    :math:`S_t = \max(0, S_{t-1} + w_t)`.

    Parameters
    ----------
    increments : float array, shape (m,)
    limit : float, or float array of shape (m,)
        What a sum has to reach to signal.
    anew : bool array, shape (m,), optional
        Where the sum starts from zero whatever came before.

    References
    ----------
    Page 1954, Biometrika 41:100-115.
    """
    limits = np.broadcast_to(np.asarray(limit, dtype=float), np.shape(increments))
    path, signals, total = np.empty(len(increments)), [], 0.0
    for i, step in enumerate(increments):
        total = max(0.0, (0.0 if anew is not None and anew[i] else total) + step)
        path[i] = total
        if total >= limits[i]:
            signals.append(i)
            total = 0.0
    return path, tuple(signals)


def monthly_cusum(
    events: Floats,
    risk: Risk,
    *,
    ratio: float = UP,
    in_control_months: float = IN_CONTROL_MONTHS,
    limit_set: Ints | None = None,
) -> CusumSide:
    """Follow months, each with the risk of its own catheters.

    Parameters
    ----------
    events : float array, shape (k,)
        Events; NaN where a month is not judged.
    risk : Risk
        Months without catheters, or without a known risk, add nothing.
    ratio : float
        Change looked for: of the odds (proportion) or of the rate.
    in_control_months : float
        Months to a false signal, from which the limit is found.
    limit_set : int array, shape (k,), optional
        Phases; each has a limit of its own and begins at zero.

    Raises
    ------
    ValueError
        If no month has both volume and a risk that leaves room for events.
    """
    events = np.asarray(events, dtype=float)
    phase = np.zeros(risk.months, np.int64) if limit_set is None else limit_set
    there = np.isfinite(events) & risk.leaves_room
    if not there.any():
        raise ValueError("a CUSUM needs a month with catheters and an expected rate above zero")
    steps = np.where(there, risk.evidence(events, ratio), 0.0)
    limit = np.full(risk.months, np.inf)
    for owner in np.unique(phase[there]):
        mine = np.flatnonzero(there & (phase == owner))
        limit[phase == owner] = cusum_limit(month_masses(risk, mine, ratio), in_control_months)
    path, signals = accumulate(steps, limit, np.diff(phase, prepend=phase[:1]) != 0)
    return CusumSide(ratio, path, limit, signals)


def month_masses(risk: Risk, months: Ints, ratio: float, true_ratio: float = 1.0) -> Masses:
    """Return one month's evidence over the months given, each as likely.

    Parameters
    ----------
    risk : Risk
    months : int array
        Months that stand for all, each with a risk that leaves room.
    ratio, true_ratio : float
        Change looked for, and change that holds; odds for a proportion.
    """
    trials, chance = risk.counts(true_ratio)
    none = risk.evidence(np.zeros(risk.months), ratio)
    values, chances = [], []
    for i in months.tolist():
        x, mass = _counted(int(trials[i]), float(chance[i]), proportion=risk.proportion)
        values.append(none[i] + x * np.log(ratio))
        chances.append(mass / len(months))
    return lattice_masses(np.concatenate(values), np.concatenate(chances))


def _counted(trials: int, chance: float, *, proportion: bool) -> tuple[Floats, Floats]:
    """Return the counts that a month may show, and their chances."""
    mean = trials * chance if proportion else chance
    away = REACH * np.sqrt(mean * (1 - chance if proportion else 1.0)) + REACH
    first, last = max(0.0, np.floor(mean - away)), np.ceil(mean + away)
    x = np.arange(first, (min(last, trials) if proportion else last) + 1)
    cdf = special.bdtr(x, trials, chance) if proportion else special.pdtr(x, mean)
    return x, np.diff(cdf, prepend=0.0)


def expected_delay(risk: Risk, months: Ints, side: CusumSide) -> float:
    """Return the expected months until a side sees the change that it looks for.

    Parameters
    ----------
    risk : Risk
    months : int array
        Months whose volume and risk stand for those to come.
    side : CusumSide
    """
    masses = month_masses(risk, months, side.ratio, true_ratio=side.ratio)
    return cusum_run_length(masses, float(side.limit[months[-1]]))


def false_signal(risk: Risk, sides: tuple[CusumSide, ...], judged: Flags,
                 *, effort: Effort = FULL) -> float:  # fmt: skip
    """Return the chance of at least one false signal over the months judged.

    By seeded simulation of months in control, all sides on the same counts.
    """
    rng, fired = np.random.default_rng(effort.seed), np.zeros(effort.series, bool)
    trials, chance = risk.counts(1.0)
    none = {side.ratio: risk.evidence(np.zeros(risk.months), side.ratio) for side in sides}
    sums = {side.ratio: np.zeros(effort.series) for side in sides}
    before = None
    for i in np.flatnonzero(judged & risk.leaves_room):
        x = (rng.binomial(trials[i], chance[i], effort.series) if risk.proportion
             else rng.poisson(chance[i], effort.series))  # fmt: skip
        for side in sides:
            is_new = before is not None and side.limit[i] != side.limit[before]
            carried = 0.0 if is_new else sums[side.ratio]
            sums[side.ratio] = np.maximum(0, carried + none[side.ratio][i] + x * np.log(side.ratio))
            fired |= sums[side.ratio] >= side.limit[i]
        before = i
    return float(fired.mean())
