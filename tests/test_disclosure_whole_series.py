"""Series of groups are drawn whole or not at all, and none can be worked out from the rest."""

import numpy as np
import pytest

from pipeline.disclosure import Policy
from pipeline.disclosure.whole_series import drawn_whole

SHARED = Policy(11)


def cells(*groups):
    """One column of counts a group, a number a period."""
    return np.array(groups, float)[:, :, None]


def test_a_series_with_a_small_count_is_not_drawn():
    drawn = drawn_whole(SHARED, cells([20, 30], [20, 5], [15, 8], [40, 40]))
    assert drawn.tolist() == [True, False, False, True]


def test_zero_is_shown():
    assert drawn_whole(SHARED, cells([0, 30], [20, 0])).all()


def test_one_that_could_be_worked_out_takes_the_smallest_other_with_it():
    drawn = drawn_whole(SHARED, cells([20, 30], [20, 5], [15, 18], [40, 40]))
    assert drawn.tolist() == [True, False, False, True]


def test_those_not_drawn_are_not_few_together_in_any_period():
    drawn = drawn_whole(SHARED, cells([20, 30], [20, 2], [15, 3], [40, 40]))
    assert drawn.tolist() == [False, False, False, True]


def test_what_joins_hides_the_period_that_is_small():
    """A group without events in that period hides nothing, so a second one joins."""
    drawn = drawn_whole(SHARED, cells([20, 0], [20, 5], [25, 18], [40, 40]))
    assert drawn.tolist() == [False, False, False, True]


def test_every_column_counts():
    with_event, without = cells([20, 30], [20, 25], [30, 30]), cells([20, 4], [20, 25], [30, 30])
    drawn = drawn_whole(SHARED, np.concatenate([with_event, without], axis=2))
    assert drawn.tolist() == [False, False, True]


def test_the_committees_copy_has_every_series():
    assert drawn_whole(Policy(0), cells([1, 2], [3, 4])).all()


@pytest.mark.parametrize("seed", range(20))
def test_no_period_of_those_not_drawn_is_small_together(seed):
    counts = np.random.default_rng(seed).poisson(14, (6, 8, 3)).astype(float)
    drawn = drawn_whole(SHARED, counts)
    assert not SHARED.is_small(counts[drawn]).any()
    assert drawn.sum() == 0 or not SHARED.is_small(counts[~drawn].sum(axis=0)).any()
