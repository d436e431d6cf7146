"""Rubin's rules: estimates of several imputations put together."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

IMPUTATIONS = 20  # fewer are refused


@dataclass(frozen=True)
class Pooled:
    """Estimates put together over imputations; arrays of shape (k,).

    Attributes
    ----------
    estimate, error : float array
        Mean over the imputations, and its standard error.
    lower, upper : float array
        95% limits by Student's t.
    df : float array
        Degrees of freedom.
    missing_information : float array
        Share of the information that is missing.
    """

    estimate: Floats
    error: Floats
    lower: Floats
    upper: Floats
    df: Floats
    missing_information: Floats

    @property
    def side(self) -> NDArray[np.int64]:
        """Side of zero on which the limits lie, shape (k,): 1, -1, or 0 where they hold it."""
        found: NDArray[np.int64] = (self.lower > 0).astype(int) - (self.upper < 0)
        return found


def nearest_turn(says: Callable[[float], int], steps: Sequence[float]) -> float:
    """Return the departure nearest to none, on either side, at which a finding is another.

    Parameters
    ----------
    says : callable
        The finding at a departure; it rises or falls with it, and may repeat itself.
    steps : sequence of float
        Departures above zero that are tried, ascending; their negatives are too.

    Returns
    -------
    float
        One of the steps or their negatives; NaN where none turns the finding.
    """
    as_found = says(0.0)
    turns = []
    for side in (1.0, -1.0):
        if says(side * steps[-1]) != as_found:
            turned = partial(_is_other, says, as_found, side)
            turns.append((bisect_left(steps, True, key=turned), side))
    return min(turns)[1] * steps[min(turns)[0]] if turns else float("nan")


def _is_other(says: Callable[[float], int], as_found: int, side: float, step: float) -> bool:
    return says(side * step) != as_found


def refuse_few(m: int) -> None:
    """Raise `ValueError` for fewer imputations than limits should be made from."""
    if m < IMPUTATIONS:
        raise ValueError(f"at least {IMPUTATIONS} imputations are needed")


def pool(estimates: Floats, variances: Floats) -> Pooled:
    r"""Put estimates from imputed data together by Rubin's rules.

    :math:`T = \bar U + (1 + 1/m) B`, with :math:`\nu = (m - 1)(1 + \bar U / ((1 + 1/m) B))^2`
    degrees of freedom.

    Parameters
    ----------
    estimates, variances : float array, shape (m, k)
        Of each imputation.

    References
    ----------
    Rubin 1987, Multiple Imputation for Nonresponse in Surveys, chapter 3 (recalled, not
    retrieved). Checked against R's mice.
    """
    m = len(estimates)
    mean, within = estimates.mean(axis=0), variances.mean(axis=0)
    between = (1 + 1 / m) * estimates.var(axis=0, ddof=1)
    total = within + between
    with np.errstate(divide="ignore"):
        df = np.where(between > 0, (m - 1) * (1 + within / between) ** 2, np.inf)
    rise = between / within  # of the variance, by what is missing
    reach = special.stdtrit(df, 0.975) * np.sqrt(total)
    informed = (rise + 2 / (df + 3)) / (1 + rise)
    return Pooled(mean, np.sqrt(total), mean - reach, mean + reach, df, informed)
