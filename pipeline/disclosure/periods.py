"""Periods of one measure: months within quarters, quarters within a year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.disclosure.policy import Policy

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class WithheldPeriods:
    """What of one measure's series is withheld.

    Attributes
    ----------
    months, quarters : bool array
        In the order given.
    year_before : bool
        The sum of the four quarters before the last.
    """

    months: Bools
    quarters: Bools
    year_before: bool


def withheld_periods(
    policy: Policy,
    month_cells: ArrayLike,
    quarter_of_month: Sequence[str],
    quarter_cells: ArrayLike,
    quarters: Sequence[str],
) -> WithheldPeriods:
    """Say which months and quarters of a series may not be shown.

    A quarter's count is shown unless it is small. Its months are shown only all
    together, since two of three would give the third away. A quarter that would be
    the only one withheld takes its smallest neighbour with it, and the sum of the
    four quarters before the last stands only where it gives none of them away.

    Parameters
    ----------
    policy : Policy
        With the threshold.
    month_cells, quarter_cells : array_like, shape (periods, columns)
        Every count that could be read off a period: episodes with the event, those
        without it, all of them.
    quarter_of_month, quarters : sequence of str
        The quarter of each month, and the quarters in time order.
    """
    small_months = policy.is_small(np.atleast_2d(np.asarray(month_cells, float)))
    months: Bools = np.asarray(small_months.any(axis=1))
    cells = np.atleast_2d(np.asarray(quarter_cells, float))
    hidden: Bools = np.asarray(policy.is_small(cells).any(axis=1))
    if hidden.sum() == 1 and len(quarters) > 1:
        others = np.where(hidden | (cells.min(axis=1) <= 0), np.inf, cells.min(axis=1))
        hidden[int(np.argmin(others))] = True
    small = {quarter for quarter, is_hidden in zip(quarters, hidden, strict=True) if is_hidden}
    small |= {q for q, is_small in zip(quarter_of_month, months, strict=True) if is_small}
    in_year = hidden[-5:-1]
    return WithheldPeriods(
        months=np.array([quarter in small for quarter in quarter_of_month], bool),
        quarters=hidden,
        year_before=bool(in_year.sum() == 1 or policy.is_small(cells[-5:-1].sum(axis=0)).any()),
    )
