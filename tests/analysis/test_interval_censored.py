import numpy as np
import pytest

from pipeline.analysis.survival.interval_censored import IntervalCounts, turnbull_curve
from pipeline.analysis.survival.time_in_place import time_in_place
from tests.episodes import count_intervals, from_episodes


def still_in_place(counts: IntervalCounts, hours) -> np.ndarray:
    return turnbull_curve(counts, hours, resamples=1).estimate


def test_exact_times_give_kaplan_meier() -> None:
    rng = np.random.default_rng(5)
    hours = rng.integers(1, 40, 200).astype(float)
    known = rng.random(200) < 0.8
    counts = count_intervals(hours, np.where(known, hours, np.inf))
    curve = time_in_place(from_episodes(hours, known.astype(int) - 1, ["removed"]))
    assert still_in_place(counts, curve.hours) == pytest.approx(curve.estimate, abs=1e-8)


def test_the_start_of_an_interval_is_not_in_it() -> None:
    # Out exactly at 10, and out in (10, 20]: the second was in place at 10.
    assert still_in_place(count_intervals([10, 10], [10, 20]), [10, 20]).tolist() == [0.5, 0]


def test_inside_an_interval_a_catheter_counts_as_in_place() -> None:
    assert still_in_place(count_intervals([10, 10], [20, 20]), [15, 20]).tolist() == [1, 0]


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
    curve = turnbull_curve(count_intervals(hours, hours), [24])
    half = 1.96 * np.sqrt(0.25 * 0.75 / n)
    assert curve.estimate[0] == pytest.approx(0.75)
    assert curve.upper[0] - curve.lower[0] == pytest.approx(2 * half, rel=0.2)


def test_all_last_known_in_place() -> None:
    assert still_in_place(count_intervals([24, 48], [np.inf, np.inf]), [24, 48]).tolist() == [1, 1]


@pytest.mark.parametrize("seed", range(2))
def test_coarse_and_overlapping_intervals_as_lifelines_has_them(seed: int) -> None:
    # lifelines takes intervals as closed: a start is moved by less than any step. Its steps
    # slow down where the likelihood is flat, and stop up to 2e-5 off (tol=1e-10).
    from lifelines.fitters.npmle import npmle

    rng = np.random.default_rng(seed)
    after = rng.integers(0, 90, 60).astype(float)
    before = after + rng.integers(0, 24, 60)
    before[rng.random(60) < 0.1] = np.inf
    counts = count_intervals(after, before)
    starts = counts.after_h + 1e-6 * (counts.after_h < counts.before_h)
    mass, intervals = npmle(starts, counts.before_h, weights=counts.n, tol=1e-10, max_iter=10**6)
    ends = np.array([interval.right for interval in intervals])
    hours = np.arange(24.0, 90.0, 6.0)
    theirs = [1 - mass[ends <= hour].sum() for hour in hours]
    assert still_in_place(counts, hours) == pytest.approx(theirs, abs=5e-5)
