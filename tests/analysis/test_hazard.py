import numpy as np
import pytest

from pipeline.analysis.survival.hazard import (
    by_clock_hour,
    by_part_of_course,
    epanechnikov,
    smoothed_hazard,
)
from tests.episodes import from_episodes

REASONS = ("dislodged", "completed")


@pytest.mark.parametrize("at", [0.0, 1.0, 4.5, 6.0, 30.0, 55.0, 60.0])
def test_each_event_weighs_one_and_is_not_shifted(at: float) -> None:
    events = np.linspace(0, 60, 240_001)
    weight = epanechnikov(np.array(at), events, 6.0, 60.0)
    assert np.trapezoid(weight, events) == pytest.approx(1, abs=1e-4)
    assert np.trapezoid(weight * (events - at), events) == pytest.approx(0, abs=1e-4)


def test_a_constant_hazard_is_found_level() -> None:
    rng = np.random.default_rng(4)
    n = 40_000
    out = rng.exponential(1 / 0.004, n)  # 0.4% an hour: 9.6 per 100 catheter-days
    hours = np.minimum(np.ceil(out * 4) / 4, 96)
    curve = smoothed_hazard(from_episodes(hours, (out >= 96).astype(int), REASONS), "dislodged")
    assert curve.hours[-1] == 96
    assert curve.hazard[3:90] == pytest.approx(9.6, rel=0.2)
    inside = (curve.lower <= 9.6) & (curve.upper >= 9.6)
    assert inside.mean() > 0.85


def test_a_bad_night_stands_out() -> None:
    hours = np.concatenate([np.full(30, 10.0), np.full(30, 11.0), np.full(200, 72.0)])
    reason = np.repeat([0, 1], [60, 200])
    curve = smoothed_hazard(from_episodes(hours, reason, REASONS), "dislodged")
    assert 8 <= curve.hours[np.argmax(curve.hazard)] <= 13
    assert curve.events == 60


def test_the_curve_ends_where_few_are_left() -> None:
    hours = np.concatenate([np.linspace(1, 50, 100), [90.0] * 5])
    counts = from_episodes(hours, np.zeros(105, int), REASONS)
    assert smoothed_hazard(counts, "dislodged").hours[-1] < 50


def test_no_event_has_no_upper_limit_but_a_zero_curve() -> None:
    curve = smoothed_hazard(from_episodes([72.0] * 50, [1] * 50, REASONS), "dislodged")
    assert curve.hazard.max() == 0
    assert np.all(np.isnan(curve.upper))
    empty = smoothed_hazard(from_episodes([], [], REASONS), "dislodged")
    assert len(empty.hours) == 0


def test_clock_hours_are_counted_with_their_exposure() -> None:
    # Placed at 10:00: out after 15 h is 01:00, after 24 h is 10:00.
    result = by_clock_hour([10, 10], [15.0, 24.0], [True, False], [2, 3], reason="dislodged")
    assert result.events.tolist() == [0, 2] + [0] * 22
    assert result.catheter_hours[10] == 5
    assert result.catheter_hours[1] == 3  # those out at 01:00 spent none of that hour
    assert result.catheter_hours.sum() == 2 * 15 + 3 * 24
    assert result.rate[1] == pytest.approx(2 / 3 * 2400)


def test_parts_of_the_course_by_hand() -> None:
    # Placed at 20:00. Out after 4 h: midnight of the first night. Out after 30 h: 02:00 of
    # the second; the first night is 22:00 to 06:00, 8 of its hours.
    parts = by_part_of_course([20, 20], [4.0, 30.0], [True, True], [1, 1])
    first, later, days = parts
    assert [p.events for p in parts] == [1, 1, 0]
    assert first.catheter_days == pytest.approx((2 + 8) / 24)
    assert later.catheter_days == pytest.approx(4 / 24)
    assert days.catheter_days == pytest.approx((2 + 2 + 16) / 24)
    assert days.rate == 0
    assert days.upper > 0


def test_placed_in_the_small_hours_the_first_night_is_that_one() -> None:
    first, later, _ = by_part_of_course([2], [30.0], [False], [1])
    assert first.catheter_days == pytest.approx(4 / 24)
    assert later.catheter_days == pytest.approx(8 / 24)


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="clock hour"):
        by_clock_hour([24], [1.0], [True], [1], reason="dislodged")
    with pytest.raises(KeyError):
        smoothed_hazard(from_episodes([1], [0], REASONS), "moved")
