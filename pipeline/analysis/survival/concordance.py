"""How well a model orders catheters: Harrell's concordance, with its error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.analysis.survival import curve_limits
from pipeline.analysis.survival.event_counts import Floats, Ints
from pipeline.analysis.survival.model_data import ALONE, OF_REASON, ModelData, ModelFit

DECIMALS = 10  # to which log hazards count as the same


@dataclass(frozen=True)
class Concordance:
    """Chance that of two catheters the one removed earlier has the higher modelled hazard."""

    estimate: float
    se: float

    @property
    def lower(self) -> float:
        """Lower 95% limit."""
        return max(self.estimate - curve_limits.Z * self.se, 0.0)

    @property
    def upper(self) -> float:
        """Upper 95% limit."""
        return min(self.estimate + curve_limits.Z * self.se, 1.0)


def removal_concordance(data: ModelData, fit: ModelFit) -> Concordance:
    """Compare each catheter removed for the reason with all then in place of its stratum.

    Other reasons end follow-up. Equal hazards count one half, removals for the reason at
    the same hour are not compared. The error is the infinitesimal jackknife's, summed
    within a child.

    References
    ----------
    Harrell, Lee and Mark 1996, Stat Med 15:361-387 (recalled, not retrieved); figures of
    R's concordance in tests/reference.
    """
    agreed, compared = _pairs(data, fit)
    of_reason = data.outcome == OF_REASON
    pairs = float(data.n[of_reason] @ compared[0][of_reason])
    if pairs == 0:
        return Concordance(float("nan"), float("nan"))
    estimate = float(data.n[of_reason] @ agreed[0][of_reason]) / pairs
    influence = (agreed.sum(axis=0) - estimate * compared.sum(axis=0)) / pairs
    alone = data.child == ALONE
    _, child = np.unique(data.child[~alone], return_inverse=True)
    several = np.bincount(child, data.n[~alone] * influence[~alone])
    variance = data.n[alone] @ influence[alone] ** 2 + several @ several
    return Concordance(estimate, float(np.sqrt(variance)))


def _pairs(data: ModelData, fit: ModelFit) -> tuple[Floats, Floats]:
    """Pairs that agree, and all, of one episode of each row.

    Shape (2, r) each: pairs as the one removed, and as the one that stayed.
    """
    log_hazard = np.round(data.design.matrix @ fit.coefficients, DECIMALS)
    levels, of_pattern = np.unique(log_hazard, return_inverse=True)
    rank = of_pattern[data.pattern]
    agreed, compared = np.zeros((2, len(rank))), np.zeros((2, len(rank)))
    order = np.argsort(data.at, kind="stable")
    event = data.outcome == OF_REASON
    for stratum in np.split(order, np.searchsorted(data.at[order], data.cuts)):
        hours = np.split(stratum, np.flatnonzero(np.diff(data.at[stratum])) + 1)
        cells = [(rows[event[rows]], rows[~event[rows]]) for rows in hours]
        staying, gone = np.zeros(len(levels)), np.zeros(len(levels))
        for out, still in reversed(cells):
            staying += np.bincount(rank[still], data.n[still], len(levels))
            below, tied, _ = _split(staying, rank[out])
            agreed[0, out], compared[0, out] = below + tied / 2, staying.sum()
            staying += np.bincount(rank[out], data.n[out], len(levels))
        for out, still in cells:
            _, tied, above = _split(gone, rank[out])
            agreed[1, out], compared[1, out] = above + tied / 2, gone.sum()
            gone += np.bincount(rank[out], data.n[out], len(levels))
            _, tied, above = _split(gone, rank[still])
            agreed[1, still], compared[1, still] = above + tied / 2, gone.sum()
    return agreed, compared


def _split(counted: Floats, rank: Ints) -> tuple[Floats, Floats, Floats]:
    """Count those below, at and above each rank."""
    upto = np.cumsum(counted)
    tied = counted[rank]
    return upto[rank] - tied, tied, upto[-1] - upto[rank]
