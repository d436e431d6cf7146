import numpy as np
import pytest

from synthetic_data.intensity import HORIZON_H, HourlyHazard, hazard, steps

PLACED_EVENLY = np.ones(24)


def test_the_inverse_undoes_the_cumulative_hazard():
    rng = np.random.default_rng(3)
    process = HourlyHazard(rng.random((24, HORIZON_H)))
    placed_hour, at_h = rng.integers(0, 24, 500), rng.random(500) * HORIZON_H
    back = process.inverse(placed_hour, process.cumulative(placed_hour, at_h))
    np.testing.assert_allclose(back, at_h, atol=1e-9)


def test_hours_without_hazard_are_stepped_over():
    rate = np.zeros((24, HORIZON_H))
    rate[:, 10] = 1.0
    at_h = HourlyHazard(rate).inverse(np.array([0, 5, 23]), np.array([0.5, 0.25, 1.5]))
    np.testing.assert_allclose(at_h, [10.5, 10.25, np.inf])


def test_a_hazard_is_scaled_to_what_it_does_in_72_hours():
    spec = {"per_100": 10.0, "by_hour": [[0, 2.0], [24, 1.0]], "by_clock": [[0, 3.0], [8, 1.0]]}
    process = hazard(spec, PLACED_EVENLY)
    hours = np.arange(24)
    spent = process.cumulative(hours, np.full(24, 72.0)).mean()
    assert 1 - np.exp(-spent) == pytest.approx(0.10)
    first_day = process.cumulative(hours, np.full(24, 24.0)).mean()
    assert first_day / spent == pytest.approx(2 / 4)


def test_a_clock_hazard_is_higher_at_those_hours():
    process = hazard({"per_100": 10.0, "by_clock": [[0, 3.0], [8, 1.0]]}, PLACED_EVENLY)
    placed_at_seven = np.array([7, 7, 7])
    spent = process.cumulative(placed_at_seven, np.array([0.0, 1.0, 2.0]))
    assert np.diff(spent)[0] / np.diff(spent)[1] == pytest.approx(3.0)


def test_steps_hold_until_the_next():
    np.testing.assert_array_equal(steps([[0, 1.0], [2, 5.0]], 4), [1, 1, 5, 5])
