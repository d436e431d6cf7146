"""Missing fields: what a busy service forgets to write down."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from synthetic_data.draws import Flags, Ints, chance
from synthetic_data.scenario import Scenario
from synthetic_data.tables import Columns


def lose_fields(
    scenario: Scenario, record: str, columns: Columns, site: Ints, rng: np.random.Generator
) -> Columns:
    """Return the columns with the planted share of values missing, more at one site.

    Parameters
    ----------
    record : str
        ``episode`` or ``contact``.
    site : int array, shape (n,)
        Position of the site of each row.
    """
    planted = scenario.planted["missing"]
    worse = scenario.is_site(planted["site"])[site]
    shares: Mapping[str, float] = planted[record]
    lost = dict(columns)
    for name, share in shares.items():
        here = share * np.where(worse & (name in planted["columns"]), planted["ratio"], 1.0)
        lost[name] = _without(columns[name], chance(rng, here, site.size))
    return lost


def _without(values: npt.NDArray[np.generic], missing: Flags) -> npt.NDArray[np.generic]:
    if values.dtype == np.float64:
        return np.where(missing, np.nan, values)
    return np.where(missing, -1, values)
