"""Time in place when some removals are known only to an interval (Turnbull's estimate)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.survival.curve_limits import TAILS
from pipeline.analysis.survival.event_counts import Floats, Ints

KKT_TOLERANCE = 1e-7  # how far a gradient may pass its bound at the solution
RESAMPLE_TOLERANCE = 1e-4  # for resamples, whose own spread is far larger
MAX_ROUNDS = 500
STEPS_A_ROUND = 20
NEWTON_STEPS = 12
NEGLIGIBLE = 1e-11  # masses below it are tried at zero
CLOSED, OPEN = 0, 1
RESAMPLES = 400
SEED = 20250101


@dataclass(frozen=True)
class IntervalCounts:
    """Distinct intervals (after_h, before_h] with the episodes known only to each.

    An exact removal has `after_h` equal to `before_h`; a catheter never known out
    has `before_h` infinite. Arrays of shape (u,).
    """

    after_h: Floats
    before_h: Floats
    n: Ints

    @property
    def episodes(self) -> int:
        """Episodes counted."""
        return int(self.n.sum())


@dataclass(frozen=True)
class TurnbullCurve:
    """The curve at chosen hours with 95% bootstrap limits, shape (k,).

    Inside an interval that carries mass the highest curve is given: a catheter
    counts as in place until it is known out.
    """

    hours: Floats
    estimate: Floats
    lower: Floats
    upper: Floats
    resamples: int


def turnbull_curve(
    counts: IntervalCounts, hours: ArrayLike, *, resamples: int = RESAMPLES
) -> TurnbullCurve:
    r"""Estimate at chosen hours, with percentile limits over resampled episodes.

    The likelihood of the intervals is maximised over all distributions. Mass lies only
    on the innermost intervals. Steps of self-consistency, doubled by extrapolation, are
    repeated, masses that vanish are put to zero, until the Kuhn-Tucker conditions hold:
    the gradient :math:`n^{-1}\sum_i a_{ij}/p_i` is one where there is mass and nowhere
    above one. The seed is fixed so that the same data give the same limits.

    Parameters
    ----------
    counts : IntervalCounts
        At least one episode.
    hours : array_like, shape (k,)

    References
    ----------
    Turnbull 1976, J R Stat Soc B 38:290-295; Gentleman and Geyer 1994, Biometrika
    81:618-623 (conditions); Efron and Tibshirani 1993, An Introduction to the Bootstrap
    (percentile limits); figures of IC-01 and IC-02 in tests/reference.
    """
    asked = np.atleast_1d(np.asarray(hours, float))
    support = _Support.of(counts)
    weight = counts.n.astype(float)
    whole = support.solve(weight, KKT_TOLERANCE)
    generator = np.random.default_rng(SEED)
    share = weight / weight.sum()
    draws = generator.multinomial(counts.episodes, share, size=resamples).astype(float)
    curves = np.array([support.highest(support.resolve(d, whole), asked) for d in draws])
    lower, upper = np.quantile(curves, TAILS, axis=0)
    return TurnbullCurve(asked, support.highest(whole, asked), lower, upper, resamples)


@dataclass(frozen=True)
class _Support:
    """Innermost intervals, shape (s,), and the run [first, stop) that each episode covers."""

    left: Floats
    right: Floats
    first: Ints
    stop: Ints

    @classmethod
    def of(cls, counts: IntervalCounts) -> _Support:
        exact = counts.after_h == counts.before_h
        side = np.where(exact, CLOSED, OPEN)
        starts = np.unique(np.column_stack([counts.after_h, side]), axis=0)
        ends = np.unique(np.column_stack([counts.before_h, np.zeros_like(side)]), axis=0)
        edges = np.concatenate(
            [
                np.column_stack([starts, np.zeros(len(starts))]),
                np.column_stack([ends, np.ones(len(ends))]),
            ]
        )
        # In order of place, then side, a start before an end at the same place.
        edges = edges[np.lexsort((edges[:, 2], edges[:, 1], edges[:, 0]))]
        inner = np.flatnonzero((edges[:-1, 2] == 0) & (edges[1:, 2] == 1))
        left, right = edges[inner], edges[inner + 1]
        first = _position(left[:, :2], np.column_stack([counts.after_h, side]))
        stop = np.searchsorted(right[:, 0], counts.before_h, "right")
        return cls(left[:, 0], right[:, 0], first, stop)

    def probability(self, mass: Floats) -> Floats:
        """Probability of each episode's interval, shape (u,)."""
        running = np.concatenate([[0.0], np.cumsum(mass)])
        return np.maximum(running[self.stop] - running[self.first], 1e-300)

    def gradient(self, mass: Floats, n: Floats) -> Floats:
        """Gradient by mass, shape (s,): one at the solution where there is mass."""
        share = n / n.sum() / self.probability(mass)
        m = len(mass) + 1
        rise = np.bincount(self.first, share, m) - np.bincount(self.stop, share, m)
        return np.cumsum(rise)[:-1]

    def curvature(self, mass: Floats, n: Floats) -> Floats:
        """Negative second derivatives by pairs of masses, shape (s, s).

        An episode adds to a pair where its run covers both, so the table is a running
        sum over starts and over ends.
        """
        s = len(mass)
        share = n / n.sum() / self.probability(mass) ** 2
        flat = np.bincount(self.first * s + self.stop - 1, share, s * s).reshape(s, s)
        covered = np.cumsum(flat, axis=0)[:, ::-1].cumsum(axis=1)[:, ::-1]
        return np.triu(covered) + np.triu(covered, 1).T

    def solve(self, n: Floats, tolerance: float) -> Floats:
        """Masses whose gradients meet the Kuhn-Tucker conditions to `tolerance`."""
        mass = np.full(len(self.left), 1 / len(self.left))
        for _ in range(MAX_ROUNDS):
            for _ in range(STEPS_A_ROUND):
                mass = self._extrapolated(mass, n)
            mass = self._sharpened(mass, n, tolerance)
            if self._gap(mass, n) <= tolerance:
                break
        return mass

    def resolve(self, n: Floats, start: Floats) -> Floats:
        """Masses for other counts of the same intervals, by self-consistency alone.

        The gradients' excess over one bounds what the likelihood still lacks.
        """
        mass = 0.9 * start + 0.1 / len(start)
        for _ in range(MAX_ROUNDS):
            mass = self._extrapolated(mass, n)
            if self.gradient(mass, n).max() <= 1 + RESAMPLE_TOLERANCE:
                break
        return mass

    def highest(self, mass: Floats, hours: Floats) -> Floats:
        """Curve with each mass placed at the end of its interval."""
        running = np.concatenate([[0.0], np.cumsum(mass)])
        return np.clip(1 - running[np.searchsorted(self.right, hours, "right")], 0.0, 1.0)

    def _gap(self, mass: Floats, n: Floats) -> float:
        """Distance from the Kuhn-Tucker conditions."""
        gradient = self.gradient(mass, n)
        slack = np.where(mass > NEGLIGIBLE, np.abs(gradient - 1), gradient - 1)
        return float(slack.max())

    def _extrapolated(self, mass: Floats, n: Floats) -> Floats:
        """Two steps of self-consistency, and the longer step that they point to.

        Varadhan and Roland 2008, Scand J Stat 35:335-353.
        """
        one = mass * self.gradient(mass, n)
        two = one * self.gradient(one, n)
        r, v = one - mass, two - 2 * one + mass
        size = float(np.linalg.norm(v))
        if size < 1e-15:
            return two
        step = max(float(np.linalg.norm(r)) / size, 1.0)
        far = np.maximum(mass + 2 * step * r + step**2 * v, 0.1 * two)
        far /= far.sum()
        better = n @ np.log(self.probability(far)) >= n @ np.log(self.probability(two))
        return far if better else two

    def _sharpened(self, mass: Floats, n: Floats, tolerance: float) -> Floats:
        """Newton's steps on the masses that stay, the vanishing ones put to zero."""
        gradient = self.gradient(mass, n)
        vanishing = (mass < NEGLIGIBLE) | ((gradient < 1 - tolerance) & (mass < 1e-4))
        held = np.where(vanishing, 0.0, mass)
        trial = _newton(self, held / held.sum(), n)
        if trial is None:
            return mass
        better = n @ np.log(self.probability(trial)) >= n @ np.log(self.probability(mass))
        if not better:
            return mass
        blocked = self.gradient(trial, n) > 1 + tolerance
        if not np.any(blocked & (trial == 0)):
            return trial
        # A mass put to zero too early: let it back in.
        trial = np.where(blocked & (trial == 0), 1e-3 / len(trial), trial)
        return trial / trial.sum()


def _newton(support: _Support, mass: Floats, n: Floats) -> Floats | None:
    """Newton's method on the positive masses; None where it does not settle."""
    kept = np.flatnonzero(mass > 0)
    mass = mass.copy()
    for _ in range(NEWTON_STEPS):
        gradient = support.gradient(mass, n)[kept]
        hessian = support.curvature(mass, n)[np.ix_(kept, kept)]
        # The masses add to one: a Lagrange row and column.
        ones = np.ones((len(kept), 1))
        system = np.block([[hessian, ones], [ones.T, np.zeros((1, 1))]])
        try:
            step = np.linalg.solve(system, np.append(gradient, 0.0))[:-1]
        except np.linalg.LinAlgError:
            return None
        length = _inside(mass[kept], step)
        mass[kept] = np.maximum(mass[kept] + length * step, 0.0)
        mass /= mass.sum()
        if np.max(np.abs(step)) < 1e-13:
            break
    return mass if np.all(np.isfinite(mass)) else None


def _inside(mass: Floats, step: Floats) -> float:
    """Longest share of a step, at most one, that keeps every mass above zero."""
    falling = step < 0
    if not np.any(falling):
        return 1.0
    return float(min(1.0, 0.95 * np.min(-mass[falling] / step[falling])))


def _position(sorted_edges: Floats, edges: Floats) -> Ints:
    """First of the sorted (place, side) edges not before each edge."""
    key = np.concatenate([sorted_edges, edges])
    _, rank = np.unique(key, axis=0, return_inverse=True)
    rank = rank.ravel()
    found: Ints = np.searchsorted(rank[: len(sorted_edges)], rank[len(sorted_edges) :], "left")
    return found
