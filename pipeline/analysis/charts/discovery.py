"""Many charts looked at: which signals stand when all that were looked at are counted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.analysis.charts.results import Floats, Signal
from pipeline.analysis.rates.multiplicity import benjamini_hochberg


def adjusted_p(signals: Sequence[Signal], looked_at: int) -> Floats:
    """Return each signal's p-value adjusted for all charts and rules looked at.

    Parameters
    ----------
    signals : sequence of Signal
        Signals of all charts.
    looked_at : int
        Charts times rules in force; those without a signal count as p = 1.

    Returns
    -------
    float array, shape (len(signals),)
        At most 0.05 where the signal stands at a false discovery rate of 5%.

    References
    ----------
    Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300.
    """
    p = np.array([signal.p_value for signal in signals], dtype=float)
    silent = np.ones(max(0, looked_at - p.size))
    return np.asarray(benjamini_hochberg(np.concatenate([p, silent]))[: p.size])
