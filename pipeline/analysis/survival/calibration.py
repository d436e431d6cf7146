"""Does a model promise what happened: modelled against observed removals, by modelled risk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.analysis.survival.absolute_risks import cumulative_risk
from pipeline.analysis.survival.event_counts import Floats, from_rows
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.model_data import ModelData, ModelFit

PARTS = 5  # groups of about the same number of catheters
AT_ONCE = 2_000  # patterns of which risks are added up together, to bound memory


@dataclass(frozen=True)
class CalibrationGroup:
    """Catheters of similar modelled risk: its mean, and the cumulative incidence observed.

    `lower` and `upper` are the observed one's 95% limits; NaN where nobody was followed
    to the hour.
    """

    catheters: int
    modelled: float
    observed: float
    lower: float
    upper: float


def calibration(
    data: ModelData, fit: ModelFit, others: ModelFit | None, *, hour: float
) -> tuple[CalibrationGroup, ...]:
    """Lay modelled risks by an hour beside Aalen-Johansen's, in fifths of the modelled risk.

    Both are of the episodes that the model was fitted to, so this shows where its shape
    is wrong, and not how it would do elsewhere.

    Parameters
    ----------
    data : ModelData
    fit : ModelFit
    others : ModelFit, optional
        The other reasons of a Cox model, fitted to the same episodes; None where there
        is none.
    hour : float
    """
    risk = modelled_risks(data, fit, others, hour=hour)
    _, level = np.unique(np.round(risk, 12), return_inverse=True)
    n = np.bincount(level, data.n)
    middle = np.cumsum(n) - n / 2
    part = np.minimum(PARTS * middle / n.sum(), PARTS - 1).astype(np.int64)[level]
    return tuple(
        _group(data, risk, np.flatnonzero(part == i), hour) for i in np.unique(part).tolist()
    )


def _group(data: ModelData, risk: Floats, rows: np.ndarray, hour: float) -> CalibrationGroup:
    n = data.n[rows]
    counts = from_rows(data.hours[rows], data.outcome[rows] - 1, n, ("reason", "others"))
    at = incidence(counts).at([hour])
    observed = (float(values[0, 0]) for values in (at.incidence, at.lower, at.upper))
    return CalibrationGroup(int(n.sum()), float(n @ risk[rows] / n.sum()), *observed)


def modelled_risks(
    data: ModelData, fit: ModelFit, others: ModelFit | None, *, hour: float
) -> Floats:
    """Risk of removal for the reason by an hour of each row's episodes, shape (r,)."""
    own = fit.relative_hazard(data.design.matrix)
    other = np.zeros_like(own) if others is None else others.relative_hazard(data.design.matrix)
    risk = np.zeros(len(data.n))
    stratum = np.searchsorted(data.cuts, data.at, "right")
    for s, until in enumerate(fit.baseline.strata(hour)):
        steps = fit.baseline.increments[until]
        others_steps = np.zeros_like(steps) if others is None else others.baseline.increments[until]
        mine = stratum == s
        patterns, place = np.unique(data.pattern[mine], return_inverse=True)
        parts = [
            cumulative_risk(steps, others_steps, own[some], other[some])
            for some in np.split(patterns, range(AT_ONCE, len(patterns), AT_ONCE))
        ]
        risk[mine] = np.concatenate(parts)[place]
    return risk
