"""Over-dispersion: a baseline that varies more than its binomial or Poisson chart allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.charts.results import Floats, Ints

MOVING_RANGE_D2 = 1.128
"""Mean range of two standard normal values, to the four digits that tables print."""

OVERDISPERSED_SIGMA_Z = 1.2
"""Sigma-z above which, with the chi-square, a Laney chart is chosen."""

CHI_SQUARE_POINT = 0.95
"""Percentage point of the chi-square that the baseline must exceed."""


@dataclass(frozen=True, eq=False)
class Dispersion:
    """Chi-square, degrees of freedom and sigma-z of each group of baseline points."""

    chi_square: Floats
    freedom: Ints
    sigma_z: Floats

    @property
    def over(self) -> np.ndarray:
        """Whether both signs of over-dispersion are there."""
        freedom = np.maximum(self.freedom, 1)
        point = special.chdtri(freedom, 1 - CHI_SQUARE_POINT)
        return (self.chi_square > point) & (self.sigma_z > OVERDISPERSED_SIGMA_Z)


def moving_range_sigma(value: Floats, group: Ints, groups: int) -> Floats:
    r"""Return the mean moving range of two, over 1.128, within each group.

    Parameters
    ----------
    value : float array, shape (m,)
        Values in time order within each group; equal groups are adjacent.
    group : int array, shape (m,)
    groups : int
        Number of groups.

    Returns
    -------
    float array, shape (groups,)
        NaN where a group has fewer than two values.
    """
    same = group[1:] == group[:-1]
    ranges = np.abs(np.diff(value))[same]
    total = np.bincount(group[1:][same], ranges, groups)
    count = np.bincount(group[1:][same], minlength=groups)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan) / MOVING_RANGE_D2


def dispersion(z: Floats, limit_set: Ints, owner: Ints, owners: int) -> Dispersion:
    """Pool standardised baseline points over the limit sets of each chart.

    Parameters
    ----------
    z : float array, shape (m,)
        Standardised baseline points; those without a sigma left out.
    limit_set : int array, shape (m,)
        Group whose centre line each z was measured from.
    owner : int array, shape (m,)
        Chart that each point belongs to.
    owners : int
        Number of charts.

    References
    ----------
    Laney 2002, Quality Engineering 14:531-537, for sigma-z.
    """
    chi = np.bincount(owner, z * z, owners).astype(float)
    new_set = np.ones(z.size, bool)
    new_set[1:] = limit_set[1:] != limit_set[:-1]
    freedom = np.bincount(owner, minlength=owners) - np.bincount(owner[new_set], minlength=owners)
    same = ~new_set[1:]
    ranges = np.bincount(owner[1:][same], np.abs(np.diff(z))[same], owners)
    count = np.bincount(owner[1:][same], minlength=owners)
    sigma = ranges / np.maximum(count, 1) / MOVING_RANGE_D2
    return Dispersion(chi, freedom.astype(np.int64), sigma)
