"""Families of accelerated failure time: what one catheter's interval adds to the likelihood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.survival.event_counts import Floats

SMALLEST = 1e-300  # probability, below which a logarithm is not taken
STEP = 1e-5  # of the differences that stand for second derivatives


@dataclass(frozen=True)
class AftFamily:
    """A law of z = (log hours - location) / scale: log survival, log density and its slope."""

    name: str
    log_survival: Callable[[Floats], Floats]
    log_density: Callable[[Floats], Floats]
    slope: Callable[[Floats], Floats]


FAMILIES = {
    "weibull": AftFamily(
        "Weibull", lambda z: -np.exp(z), lambda z: z - np.exp(z), lambda z: 1 - np.exp(z)
    ),
    "lognormal": AftFamily(
        "log-normal",
        lambda z: special.log_ndtr(-z),
        lambda z: -(z**2) / 2 - np.log(2 * np.pi) / 2,
        lambda z: -z,
    ),
    "loglogistic": AftFamily(
        "log-logistic",
        lambda z: -np.logaddexp(0, z),
        lambda z: z - 2 * np.logaddexp(0, z),
        lambda z: 1 - 2 * special.expit(z),
    ),
}


@dataclass(frozen=True)
class IntervalLikelihood:
    """The likelihood of intervals (after_h, before_h], each shape (r,).

    Exact hours have `after_h` equal to `before_h`; catheters never known out for the
    event have `before_h` infinite.
    """

    family: AftFamily
    after_h: Floats
    before_h: Floats

    def rows(self, m: Floats, rate: float) -> tuple[Floats, Floats, Floats]:
        """Return each row's log-likelihood and its slopes by m and by rate.

        z is rate × log hours - m: so written the likelihood has no second maximum
        (Burridge 1981, J R Stat Soc B 43:41-45; recalled, not retrieved).
        """
        exact = self.after_h == self.before_h
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            start, end = np.log(self.after_h), np.log(self.before_h)
            low, high = self._edge(start, m, rate), self._edge(end, m, rate)
            chance = np.maximum(low[0] - high[0], SMALLEST)
            z = np.where(exact, rate * start - m, 0.0)
            slope = self.family.slope(z)
            value = self.family.log_density(z) + np.log(rate) - start
            by_rate = slope * np.where(exact, start, 0.0) + 1 / rate
        return (
            np.where(exact, value, np.log(chance)),
            np.where(exact, -slope, (low[1] - high[1]) / chance),
            np.where(exact, by_rate, (high[2] - low[2]) / chance),
        )

    def _edge(self, log_h: Floats, m: Floats, rate: float) -> tuple[Floats, Floats, Floats]:
        """Survival, density, and density times log hours; infinite hours have no density."""
        finite = np.isfinite(log_h)
        inside = np.where(finite, log_h, 0.0)
        z = rate * inside - m
        density = np.where(finite, np.exp(self.family.log_density(z)), 0.0)
        survival = np.where(finite, np.exp(self.family.log_survival(z)), log_h < 0)
        return survival, density, density * inside

    def curvature(self, m: Floats, rate: float) -> tuple[Floats, Floats, Floats]:
        """Return each row's second derivatives: by m twice, by both, by rate twice."""
        _, up, up_rate = self.rows(m + STEP, rate)
        _, down, down_rate = self.rows(m - STEP, rate)
        _, _, wide = self.rows(m, rate + STEP)
        _, _, narrow = self.rows(m, rate - STEP)
        width = 2 * STEP
        return (up - down) / width, (up_rate - down_rate) / width, (wide - narrow) / width
