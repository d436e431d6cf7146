"""Months and quarters of one measure: no small count, and none by subtraction."""

import numpy as np
import pytest

from pipeline.disclosure import Policy
from pipeline.disclosure.periods import withheld_periods

MONTHS = [f"2025-Q{quarter}" for quarter in (1, 2, 3, 4) for _ in range(3)]
QUARTERS = ["2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4"]


def withheld(months, threshold=11):
    cells = np.array(months, float)[:, None]
    quarters = cells.reshape(-1, 3).sum(axis=1)[:, None]
    return withheld_periods(Policy(threshold), cells, MONTHS, quarters, QUARTERS)


def test_nothing_is_withheld_from_the_committee():
    found = withheld([1, 2, 3] * 4, threshold=0)
    assert not found.months.any()
    assert not found.quarters.any()
    assert not found.year_before


def test_a_small_month_takes_its_quarters_months_with_it():
    found = withheld([20, 5, 20] + [20] * 9)
    assert found.months.tolist() == [True] * 3 + [False] * 9
    assert not found.quarters.any()


def test_zero_is_shown():
    assert not withheld([0, 0, 0] + [20] * 9).months.any()


def test_a_small_quarter_does_not_stand_alone():
    found = withheld([1, 1, 1] + [20] * 6 + [30] * 3)
    assert found.quarters.sum() == 2
    assert found.quarters[0]
    assert not found.quarters[3]


@pytest.mark.parametrize("seed", range(20))
def test_no_sum_that_is_shown_leaves_one_count_to_be_worked_out(seed):
    rng = np.random.default_rng(seed)
    found = withheld(rng.poisson(rng.choice([3, 8, 15, 40]), 12))
    months = found.months.reshape(-1, 3)
    assert set(months.sum(axis=1)) <= {0, 3}
    if not found.year_before:
        # The sum of the quarters before the last must not hide exactly one of them.
        assert found.quarters[-5:-1].sum() != 1
