"""Rubin's rules: estimates of several imputations put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]


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
    reach = stats.t.ppf(0.975, df) * np.sqrt(total)
    informed = (rise + 2 / (df + 3)) / (1 + rise)
    return Pooled(mean, np.sqrt(total), mean - reach, mean + reach, df, informed)
