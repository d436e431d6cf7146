"""How often a chart whose baseline is only an estimate raises an alarm though nothing changed."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.chains import decision_limits
from pipeline.analysis.charts.cusum import (
    DOWN,
    LEAST_EVENTS,
    UP,
    Cusum,
    accumulate,
    evidence,
    likely_rate,
)
from pipeline.analysis.charts.results import Flags, Floats, Ints

SERIES, SEED = 6_000, 1


def false_alarms(cusum: Cusum, steps: int) -> tuple[float, float]:
    """Return the chances of a watch and of a call within some steps, on either side.

    Programmes like this one are drawn: a baseline of as many events, limits from that
    baseline, and then `steps` more points at the same rate. An alarm is wrong more often than a
    limit's run length says, since a baseline that came out low by chance is broken by what is
    usual, and sums do not start from zero. The seed is fixed.

    Parameters
    ----------
    cusum : Cusum
        Of which the rate and the size of the baseline are known.
    steps : int
        Points after the baseline.
    """
    p, mean = rarer(cusum)
    kept, trials = max(1, round(cusum.events / cusum.mean)), max(1, round(mean / p)) if p else 0
    rng, size = np.random.default_rng(SEED), (kept + steps, SERIES)  # sums go month by month
    x = (rng.binomial(trials, p, size) if trials else rng.poisson(mean, size)).T
    volume = float(trials or 1)
    most = kept * volume - LEAST_EVENTS if trials else np.inf
    events = np.clip(x[:, :kept].sum(axis=1).astype(float), LEAST_EVENTS, most)
    rate = events / (kept * volume)
    chances = []
    for months, cautious in ((cusum.runs.watch, False), (cusum.runs.call, cusum.runs.cautious)):
        alarm = np.zeros(SERIES, bool)
        for ratio in (UP, DOWN):
            likely = likely_rate(rate, events, ratio, proportion=trials > 0)
            against = likely if cautious else rate
            alarm |= _raised(x, trials, against, ratio, months=months, kept=kept)
        chances.append(float(alarm.mean()))
    return chances[0], chances[1]


def rarer(cusum: Cusum) -> tuple[float, float]:
    """Return the chance of whichever is rarer, the event or its absence, and its monthly mean."""
    p, mean = cusum.chance, cusum.mean
    return (1 - p, mean * (1 - p) / p) if p > 0.5 else (p, mean)


def _raised(x: Ints, trials: int, rate: Floats, ratio: float, *, months: float, kept: int) -> Flags:
    """Say which of the programmes raise an alarm after the points that are kept."""
    proportion, volume = trials > 0, float(trials or 1)
    one, which = np.unique(rate, return_inverse=True)
    chance = one if proportion else np.zeros(one.size)
    limit = decision_limits(one * volume, chance, ratio, np.full(one.size, months))[which]
    steps = evidence(x.astype(float), np.array(volume), rate[:, None], ratio, proportion=proportion)
    limits = np.broadcast_to(limit[:, None], x.shape)
    telling = np.broadcast_to(np.arange(x.shape[1]) >= kept, x.shape)
    _, on = accumulate(steps, limits, np.zeros(x.shape, bool), telling)
    return np.asarray(on[:, kept:].any(axis=1))
