import numpy as np
import pytest

from pipeline.analysis.survival.event_counts import from_episodes
from pipeline.analysis.survival.interval_censored import count_intervals, turnbull, turnbull_curve
from pipeline.analysis.survival.time_in_place import time_in_place


def test_exact_times_give_kaplan_meier() -> None:
    rng = np.random.default_rng(5)
    hours = rng.integers(1, 40, 200).astype(float)
    known = rng.random(200) < 0.8
    result = turnbull(count_intervals(hours, np.where(known, hours, np.inf)))
    curve = time_in_place(from_episodes(hours, known.astype(int) - 1, ["removed"]))
    assert result.still_in_place(curve.hours[:-1]) == pytest.approx(curve.estimate[:-1], abs=1e-8)


def test_the_start_of_an_interval_is_not_in_it() -> None:
    # Out exactly at 10, and out in (10, 20]: the second was in place at 10.
    result = turnbull(count_intervals([10, 10], [10, 20]))
    assert result.still_in_place([10, 20]).tolist() == [0.5, 0]


def test_inside_an_interval_the_curve_is_not_known() -> None:
    result = turnbull(count_intervals([10, 10], [20, 20]))
    assert np.isnan(result.still_in_place(15)[0])
    low, high = result.bounds([5, 15, 20])
    assert low.tolist() == [1, 0, 0]
    assert high.tolist() == [1, 1, 0]


def test_limits_are_the_same_twice_and_hold_the_estimate() -> None:
    rng = np.random.default_rng(6)
    after = rng.integers(0, 60, 300).astype(float)
    counts = count_intervals(after, after + rng.choice([0, 8, 12], 300))
    first, second = (turnbull_curve(counts, [12, 24, 48], resamples=60) for _ in range(2))
    assert np.array_equal(first.lower, second.lower)
    assert np.all((first.lower <= first.estimate) & (first.estimate <= first.upper))
    assert np.all(first.upper - first.lower < 0.2)


def test_resamples_scatter_like_the_binomial_without_intervals() -> None:
    n = 400
    hours = np.repeat([10.0, 50.0], [100, 300])
    curve = turnbull_curve(count_intervals(hours, hours), [24], resamples=400)
    half = 1.96 * np.sqrt(0.25 * 0.75 / n)
    assert curve.estimate[0] == pytest.approx(0.75)
    assert curve.upper[0] - curve.lower[0] == pytest.approx(2 * half, rel=0.2)


@pytest.mark.parametrize(("after", "before"), [([5.0], [4.0]), ([-1.0], [4.0]), ([np.nan], [4.0])])
def test_what_does_not_fit_is_refused(after: list, before: list) -> None:
    with pytest.raises(ValueError, match="interval"):
        count_intervals(after, before)


def test_all_last_known_in_place() -> None:
    result = turnbull(count_intervals([24, 48], [np.inf, np.inf]))
    assert result.still_in_place([24, 48]).tolist() == [1, 1]
    assert result.log_likelihood == 0


def test_without_episodes() -> None:
    with pytest.raises(ValueError, match="no episodes"):
        turnbull(count_intervals([], []))


@pytest.mark.parametrize("seed", range(5))
def test_conditions_hold_on_coarse_and_overlapping_intervals(seed: int) -> None:
    rng = np.random.default_rng(seed)
    after = rng.integers(0, 90, 500).astype(float)
    before = after + rng.integers(0, 24, 500)
    before[rng.random(500) < 0.1] = np.inf
    result = turnbull(count_intervals(after, before))
    assert result.largest_gradient <= 1 + 1e-6
    assert result.mass.sum() == pytest.approx(1)
