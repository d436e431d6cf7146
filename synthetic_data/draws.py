"""Small random draws that the parts of the generator share."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


def choose(rng: np.random.Generator, shares: Floats, size: int) -> Ints:
    """Draw `size` positions, each with its share; shares need not add to one."""
    edges = np.cumsum(shares)
    return np.searchsorted(edges, rng.random(size) * edges[-1], side="right")


def choose_by(rng: np.random.Generator, shares: Floats, group: Ints) -> Ints:
    """Draw one position for each member of a group, from the row of shares of its group."""
    edges = np.cumsum(shares, axis=1)
    edges /= edges[:, -1:]
    stacked = (edges + np.arange(len(edges))[:, None]).ravel()
    found = np.searchsorted(stacked, rng.random(group.size) + group, side="right")
    return np.minimum(found - group * shares.shape[1], shares.shape[1] - 1)


def chance(rng: np.random.Generator, probability: Floats | float, size: int) -> Flags:
    """Draw `size` events, each with its probability."""
    return rng.random(size) < probability


def between(rng: np.random.Generator, bounds: Sequence[float], size: int) -> Floats:
    """Draw `size` numbers evenly between two bounds."""
    low, high = bounds
    return low + (high - low) * rng.random(size)


def to_quarter_hour(hours: Floats) -> Floats:
    """Round to the quarter of an hour in which families and callers write times."""
    return np.round(hours * 4) / 4
