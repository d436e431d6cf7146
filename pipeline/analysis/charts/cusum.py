"""Evidence added up month by month that a rate has doubled, or halved, from its baseline.

A log-likelihood-ratio CUSUM for a proportion or a rate. Each month adds its evidence for
a doubling against the baseline, and apart from that for a halving; a sum that falls
below zero starts again at zero, and none rises above its limit, so that it says what
holds now. Two levels are judged, since many measures are looked at together: a watch
against the baseline's rate, and a call against the worst rate that the baseline leaves
likely, so that no baseline that came out low by chance makes a call.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import Flags, Floats, Ints, Signal

UP, DOWN = 2.0, 0.5
"""The changes looked for: a doubling and a halving of the odds (or the rate)."""

LIKELY = float(special.ndtri(0.95))
"""Standard errors to the end of what a baseline leaves likely, on each side."""

LEAST_EVENTS = 0.5
"""Stands for the events of a baseline that had none: none does not prove a rate of zero."""

ENDS_AT = 0.5
"""Share of its limit under which the evidence of a watch or a call has ended."""

QUIET, WATCH, CALL = 0, 1, 2


@dataclass(frozen=True)
class RunLengths:
    """Months from one false alarm to the next, on each side, that limits are set for."""

    watch: float = 360.0
    call: float = 720.0
    cautious: bool = True
    """Whether a call allows for what the baseline leaves likely."""


@dataclass(frozen=True, eq=False)
class CusumSide:
    """One side of a CUSUM. Arrays have one entry a month.

    Attributes
    ----------
    ratio : float
        The change looked for.
    path, limit : float array, shape (k,)
        Evidence against the baseline's rate, and the limit of a watch.
    state : int array, shape (k,)
        `QUIET`, `WATCH` or `CALL`; quiet until the baseline is complete.
    """

    ratio: float
    path: Floats
    limit: Floats
    state: Ints


@dataclass(frozen=True, eq=False)
class Cusum:
    """Both sides of one measure's CUSUM.

    Attributes
    ----------
    periods : tuple of str
        Months.
    up, down : CusumSide
        For a doubling and for a halving.
    mean, chance, events : float
        In the baseline that judges the last month: events a month, the chance of one
        catheter (zero for a rate), and events. NaN where there is no month.
    runs : RunLengths
    is_judged : bool
        Whether the baseline is complete, or a rate was given in its place.
    last_judged : str
        The last month that is, empty where none is.
    """

    periods: tuple[str, ...]
    up: CusumSide
    down: CusumSide
    mean: float
    chance: float
    events: float
    runs: RunLengths
    is_judged: bool
    last_judged: str

    def signals(self, *, rare: bool) -> list[Signal]:
        """Return each spell of evidence; `rare` of a chart of gaps, whose points it cannot name.

        A call begins with the watch that led to it, and ends for itself.
        """
        found = []
        ways = ("below", "above") if rare else ("above", "below")
        for side, way in zip((self.up, self.down), ways, strict=True):
            for kind, first, last in _spells(side.state):
                points = () if rare else tuple(range(first, last + 1))
                found.append(Signal(kind, points, self.periods[first], self.periods[last], way))
        return found


def _spells(state: Ints) -> list[tuple[str, int, int]]:
    """Return watches and calls with their first and last month."""
    found: list[tuple[str, int, int]] = []
    for i in np.flatnonzero(state > QUIET).tolist():
        goes_on = bool(found) and found[-1][2] == i - 1
        if state[i] == CALL and goes_on:
            found[-1] = ("call", found[-1][1], i)
        elif state[i] == WATCH and goes_on and found[-1][0] == "watch":
            found[-1] = ("watch", found[-1][1], i)
        else:
            found.append(("call" if state[i] == CALL else "watch", i, i))
    return found


def evidence(
    events: Floats, volume: Floats, rate: Floats, ratio: float, *, proportion: bool
) -> Floats:
    r"""Return each month's log-likelihood ratio for a change of `ratio`.

    :math:`x \ln R - n \ln(1 - p + R p)` for a proportion whose odds change;
    :math:`x \ln R - (R - 1) n u` for a rate.

    References
    ----------
    Page 1954, Biometrika 41:100-115; Steiner and others 2000, Biostatistics 1:441-452
    (recalled, not retrieved).
    """
    against = np.log1p((ratio - 1) * rate) if proportion else (ratio - 1) * rate
    return np.asarray(events * np.log(ratio) - volume * against)


def likely_rate(rate: Floats, events: Floats, ratio: float, *, proportion: bool) -> Floats:
    """Return the rate farthest towards a change that a baseline of so many events leaves likely."""
    way = LIKELY if ratio > 1 else -LIKELY
    if not proportion:
        return np.asarray(rate * np.exp(way / np.sqrt(events)))
    shift = way / np.sqrt(events * (1 - rate))
    return np.asarray(special.expit(special.logit(rate) + shift))


def accumulate(steps: Floats, limit: Floats, anew: Flags, telling: Flags) -> tuple[Floats, Flags]:
    r"""Add up evidence by month, never under zero nor over its limit, of many series at once.

    :math:`S_t = \min(h, \max(0, S_{t-1} + w_t))`.

    Parameters
    ----------
    steps, limit : float array, shape (series, months)
    anew : bool array, shape (series, months)
        Where the sum starts from zero whatever came before.
    telling : bool array, shape (series, months)
        Where reaching the limit counts: after the baseline.

    Returns
    -------
    path : float array, shape (series, months)
    is_on : bool array, shape (series, months)
        From reaching the limit until the sum has fallen below `ENDS_AT` of it.
    """
    path, is_on = np.zeros_like(steps), np.zeros_like(steps, bool)
    total, on = np.zeros(len(steps)), np.zeros(len(steps), bool)
    for t in range(steps.shape[1]):
        total = np.where(anew[:, t], 0.0, total) + steps[:, t]
        total = np.minimum(np.maximum(total, 0.0), limit[:, t])
        reached = total >= limit[:, t] - 1e-12
        stays = on & ~anew[:, t] & (total >= ENDS_AT * limit[:, t])
        on = telling[:, t] & (reached | stays)
        path[:, t], is_on[:, t] = total, on
    return path, is_on
