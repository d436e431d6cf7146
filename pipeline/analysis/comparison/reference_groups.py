"""Whom a group is judged against: groups far from all others set nobody's standard.

One group that does much worse lifts what is expected of every other, and makes them
look better than they are. Groups that are far from the rest are therefore set aside
one after the other, the farthest first, and each group is judged against those left.
A group set aside is still judged itself, and is still shown.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.comparison.cross_fit import GroupPatterns, Prediction, cross_fit
from pipeline.analysis.comparison.ordinary_groups import Judged, judge_groups
from pipeline.analysis.rates.rates import Kind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# The programme's own choices, checked by simulation in tests/analysis/test_false_calls.py.
FAR = 0.05  # shared out among the groups: a p-value below its part is far from the rest
AT_ONCE = 0.1  # share of the groups set aside in one round, but at least one
LEAST_LEFT = 0.05  # share of the whole volume that every group keeps to be judged against


def settle(
    table: GroupPatterns, kind: Kind, may_stand_aside: Bools, prior: Floats
) -> tuple[Prediction, Judged, Bools]:
    """Predict each group by those that are not far from the rest.

    More than half of the groups always stay, so that what most of them do is what is
    expected; of two groups neither can be told to be the odd one.

    Parameters
    ----------
    table : GroupPatterns
        The counts.
    kind : {"proportion", "rate"}
        Logistic or Poisson.
    may_stand_aside : bool array, shape (groups,)
        Groups with enough events to be set aside.
    prior : float array, shape (spreads,)
        Of the spread between ordinary groups.

    Returns
    -------
    tuple of Prediction, Judged and bool array, shape (groups,)
        The prediction, how far each group is from an ordinary one, and which groups are
        left out of the others' reference.

    References
    ----------
    Outward search by deletion: Barnett and Lewis 1994, Outliers in Statistical Data,
    ch. 4 (the idea recalled, not retrieved; the thresholds are the programme's own).
    """
    aside = np.zeros(len(table.units), bool)
    while True:
        found = cross_fit(table, kind, aside)
        judged = judge_groups(table, found, aside, kind, prior)
        farther = _farthest(table, found, judged.p_value, may_stand_aside & ~aside, aside)
        if not farther.any():
            return found, judged, aside
        aside = aside | farther


def _farthest(
    table: GroupPatterns, found: Prediction, p_value: Floats, candidates: Bools, aside: Bools
) -> Bools:
    """Choose the groups to set aside next; none where that would leave too little."""
    variance = found.dispersion * (found.chance + found.error)
    distance = np.abs(table.events.sum(axis=1) - found.expected) / np.sqrt(variance)
    far = np.flatnonzero(candidates & (p_value * len(aside) < FAR))
    far = far[np.argsort(-distance[far], kind="stable")]
    chosen = np.zeros(len(aside), bool)
    for group in far[: max(1, round(AT_ONCE * len(aside)))]:
        chosen[group] = _leaves_enough(table, aside | chosen, int(group))
    return chosen


def _leaves_enough(table: GroupPatterns, aside: Bools, group: int) -> bool:
    left = ~aside
    left[group] = False
    volume = table.units.sum(axis=1)
    reference = volume[left].sum() - volume[left].max(initial=0.0)
    return bool(left.sum() > len(left) / 2 and reference >= LEAST_LEFT * volume.sum())
