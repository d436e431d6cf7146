"""Time in place, incidence and the tests between groups where data are thin or odd."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analysis.survival.event_counts import CENSORED, EventCounts
from pipeline.analysis.survival.group_tests import (
    gray,
    in_place_differences,
    incidence_differences,
    log_rank,
    stratified_log_rank,
)
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.time_in_place import time_in_place
from tests.episodes import from_episodes

REASONS = ("dislodged", "leakage", "completed")
episodes = st.lists(
    st.tuples(st.integers(0, 384).map(lambda q: q / 4), st.integers(-1, 2)),
    min_size=1,
    max_size=80,
)


def counts_of(rows: list, group: str = "") -> EventCounts:
    return from_episodes(*zip(*rows, strict=True), REASONS, group=group)


@settings(max_examples=80, deadline=None)
@given(episodes)
def test_incidences_and_still_in_place_add_to_one(rows: list) -> None:
    counts = counts_of(rows)
    result, curve = incidence(counts), time_in_place(counts)
    total = result.incidence.sum(axis=1) + result.still_in_place
    assert np.max(np.abs(total - 1)) < 1e-12
    assert np.array_equal(result.still_in_place, curve.estimate)


@settings(max_examples=80, deadline=None)
@given(episodes)
def test_limits_hold_their_estimates(rows: list) -> None:
    counts = counts_of(rows)
    for result, estimate in (
        (time_in_place(counts), time_in_place(counts).estimate),
        (incidence(counts), incidence(counts).incidence),
    ):
        assert np.all(np.isfinite(result.se))
        assert np.all((result.lower <= estimate + 1e-12) & (estimate <= result.upper + 1e-12))
        assert np.all((result.lower >= 0) & (result.upper <= 1))


@settings(max_examples=50, deadline=None)
@given(episodes)
def test_with_one_reason_the_errors_are_greenwoods(rows: list) -> None:
    one = from_episodes([h for h, _ in rows], [min(r, 0) for _, r in rows], ["removed"])
    curve, result = time_in_place(one), incidence(one)
    assert result.se[:, 0] == pytest.approx(curve.se, abs=1e-12)
    end = one.last_hour
    if end > 0:
        lost, mean = result.time_lost(end), curve.restricted_mean(end)
        assert lost.hours[0] + mean.hours == pytest.approx(end)
        assert lost.se[0] == pytest.approx(np.nan_to_num(mean.se), abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(episodes)
def test_hours_in_place_and_lost_add_to_the_course(rows: list) -> None:
    counts = counts_of(rows)
    end = counts.last_hour
    lost, mean = incidence(counts).time_lost(end), time_in_place(counts).restricted_mean(end)
    assert lost.hours.sum() + mean.hours == pytest.approx(end)


def test_without_censoring_the_errors_are_binomial() -> None:
    rng = np.random.default_rng(1)
    n = 500
    hours, reason = rng.integers(1, 97, n), rng.integers(0, 3, n)
    at = incidence(from_episodes(hours, reason, REASONS)).at([24, 72])
    for row, hour in enumerate((24, 72)):
        for column in range(3):
            p = np.mean((hours <= hour) & (reason == column))
            assert at.incidence[row, column] == pytest.approx(p)
            assert at.se[row, column] == pytest.approx(np.sqrt(p * (1 - p) / n))


def test_one_episode() -> None:
    curve = time_in_place(from_episodes([30], [0], REASONS))
    at = curve.at([0, 29, 30, 72])
    assert at.estimate.tolist() == [1, 1, 0, 0]
    assert at.n.tolist() == [1, 1, 1, 0]
    assert at.lower[0] == pytest.approx(0.025)  # all of one still in: far from certain
    assert curve.median.hours == 30
    assert np.isnan(curve.median.lower)  # one hour tells of no spread
    assert np.isnan(curve.restricted_mean(72).lower)
    assert at.upper[2] == pytest.approx(0.975)  # nobody left of one: far from certain


def test_all_last_known_in_place() -> None:
    counts = from_episodes([10, 20, 30], [CENSORED] * 3, REASONS)
    curve, result = time_in_place(counts), incidence(counts)
    assert curve.estimate.tolist() == [1, 1, 1]
    assert np.isnan(curve.median.hours)
    assert result.incidence.max() == 0
    assert np.all(result.upper > 0.7)  # none of three is not zero
    assert np.isnan(curve.at(31).estimate[0])
    with pytest.raises(ValueError, match="follow-up ends"):
        curve.restricted_mean(72)


def test_all_tied_at_one_hour() -> None:
    counts = from_episodes([72] * 40, [2] * 30 + [0] * 10, REASONS)
    at = incidence(counts).at([71.75, 72])
    assert at.incidence.tolist() == [[0, 0, 0], [0.25, 0, 0.75]]
    assert at.se[1, 0] == pytest.approx(np.sqrt(0.25 * 0.75 / 40))
    assert time_in_place(counts).median.hours == 72
    assert 0 < time_in_place(counts).at(72).upper[0] < 0.1


def test_a_removal_at_placement() -> None:
    at = time_in_place(from_episodes([0, 10], [0, 0], REASONS)).at([0, 5])
    assert at.estimate.tolist() == [0.5, 0.5]


def test_beyond_follow_up_nothing_is_claimed() -> None:
    counts = from_episodes([10, 20], [0, CENSORED], REASONS)
    assert np.isnan(time_in_place(counts).at(48).estimate[0])
    assert np.all(np.isnan(incidence(counts).at(48).incidence))


def test_beyond_follow_up_all_out_stays_out() -> None:
    counts = from_episodes([10, 20], [0, 2], REASONS)
    assert time_in_place(counts).at(96).estimate[0] == 0
    assert incidence(counts).at(96).incidence[0].tolist() == [0.5, 0, 0.5]


def test_a_level_stretch_at_a_half_has_its_middle_as_median() -> None:
    # As R survival's quantile.survfit documents it.
    assert time_in_place(from_episodes([10, 20, 30, 40], [0] * 4, REASONS)).median.hours == 25


def test_no_episodes_at_all() -> None:
    counts = from_episodes([], [], REASONS)
    assert np.isnan(time_in_place(counts).at([24]).estimate[0])
    assert np.isnan(incidence(counts).at([24]).incidence).all()
    assert counts.at_risk_at([0, 24]).tolist() == [0, 0]


def groups(*rows: list) -> list[EventCounts]:
    return [counts_of(part, str(i)) for i, part in enumerate(rows)]


def test_a_group_without_an_event() -> None:
    made = groups([(10, 0), (20, 1), (30, 2)], [(15, -1), (40, -1), (50, -1)])
    assert np.isfinite(log_rank(made).p_value)
    result = gray(made, "dislodged")
    assert np.isfinite(result.chi_square)
    assert result.observed.tolist() == [1, 0]


def test_an_empty_group_takes_no_degree_of_freedom() -> None:
    empty = from_episodes([], [], REASONS, group="2")
    made = [*groups([(10, 0), (20, 0), (30, 2)], [(15, 0), (40, 0), (50, 1)]), empty]
    result = log_rank(made)
    assert result.degrees == 1
    assert result.chi_square == pytest.approx(log_rank(made[:2]).chi_square)
    assert gray(made, "dislodged").degrees == 1


def test_nothing_to_compare_is_said() -> None:
    lonely = groups([(10, 0), (20, 1)])
    assert lonely[0].episodes == 2
    for result in (log_rank(lonely), gray(lonely, "dislodged")):
        assert np.isnan(result.chi_square)
        assert "nothing to compare" in result.note
    never = groups([(10, -1), (20, -1)], [(10, -1)])
    assert "nothing to compare" in gray(never, "leakage").note


def test_identical_groups_do_not_differ() -> None:
    rows = [(10, 0), (20, 1), (30, 2), (40, -1)]
    assert log_rank(groups(rows, rows)).chi_square == pytest.approx(0, abs=1e-20)
    assert gray(groups(rows, rows), "dislodged").chi_square == pytest.approx(0, abs=1e-20)


def test_the_order_of_groups_does_not_change_a_test() -> None:
    rng = np.random.default_rng(2)
    made = [
        from_episodes(rng.integers(1, 20, 40), rng.integers(-1, 3, 40), REASONS, group=str(g))
        for g in range(3)
    ]
    for reason in REASONS:
        forward, backward = gray(made, reason), gray(made[::-1], reason)
        assert forward.chi_square == pytest.approx(backward.chi_square, rel=1e-9)
    assert log_rank(made).chi_square == pytest.approx(log_rank(made[::-1]).chi_square)


def test_strata_must_list_the_same_groups() -> None:
    a, b = groups([(10, 0)], [(20, 0)])
    with pytest.raises(ValueError, match="same groups"):
        stratified_log_rank([[a, b], [b, a]])


def test_an_unknown_reason() -> None:
    with pytest.raises(KeyError):
        gray(groups([(10, 0)], [(20, 0)]), "moved")


def test_differences_are_second_less_first() -> None:
    first, second = groups([(10, 0), (80, 2)] * 20, [(10, 1), (80, 2)] * 20)
    result = incidence_differences(first, second, "dislodged")
    assert result.difference.tolist() == [-0.5, -0.5, -0.5]
    assert np.all(result.upper < 0)
    # Half of 40 less none of 40: each limit from those of either group, by hand.
    none, half = 1 - 0.025 ** (1 / 40), incidence(first).at(24)
    assert result.lower[0] == pytest.approx(-0.5 - (half.upper[0, 0] - 0.5))
    assert result.upper[0] == pytest.approx(-0.5 + np.hypot(none, 0.5 - half.lower[0, 0]))
    assert in_place_differences(first, second).difference.tolist() == [0, 0, 0]


def test_no_removal_in_either_group_leaves_room_for_a_difference() -> None:
    first, second = groups([(72, 2)] * 30, [(72, 2)] * 60)
    result = incidence_differences(first, second, "dislodged")
    assert result.difference.tolist() == [0, 0, 0]
    assert result.lower[0] == pytest.approx(-(1 - 0.025 ** (1 / 30)))
    assert result.upper[0] == pytest.approx(1 - 0.025 ** (1 / 60))
    assert np.isnan(result.p_value[0])


def test_large_counts_keep_their_digits() -> None:
    # Ten million episodes: the variance is a sum of small terms, not a difference of large.
    rng = np.random.default_rng(3)
    grid = np.arange(1, 385) / 4
    n = rng.integers(1, 40_000, (384, 3))
    hours, reason = np.repeat(grid, 3), np.tile([0, 1, 2], 384)
    from pipeline.analysis.survival.event_counts import from_rows

    result = incidence(from_rows(hours, reason, n.ravel(), REASONS))
    p = n[:, 0].cumsum() / n.sum()
    binomial = np.sqrt(p * (1 - p) / n.sum())
    assert result.se[:, 0] == pytest.approx(binomial, rel=1e-9)
    assert np.max(np.abs(result.incidence.sum(1) + result.still_in_place - 1)) < 1e-12
