import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analysis.survival.event_counts import EventCounts, from_rows, pool_counts
from tests.episodes import from_episodes

REASONS = ("dislodged", "leakage")


def same(a: EventCounts, b: EventCounts) -> bool:
    return (
        np.array_equal(a.hours, b.hours)
        and np.array_equal(a.events, b.events)
        and np.array_equal(a.censored, b.censored)
    )


episodes = st.lists(
    st.tuples(st.integers(0, 40).map(lambda q: q / 4), st.integers(-1, 1)), min_size=1, max_size=60
)


@settings(max_examples=50, deadline=None)
@given(episodes, st.randoms())
def test_the_order_of_episodes_does_not_matter(rows: list, random: object) -> None:
    shuffled = rows[:]
    random.shuffle(shuffled)
    first = from_episodes(*zip(*rows, strict=True), REASONS)
    assert same(first, from_episodes(*zip(*shuffled, strict=True), REASONS))


@settings(max_examples=50, deadline=None)
@given(episodes, st.integers(0, 60))
def test_splitting_the_episodes_and_adding_changes_nothing(rows: list, cut: int) -> None:
    whole = from_episodes(*zip(*rows, strict=True), REASONS)
    parts = [part for part in (rows[:cut], rows[cut:]) if part]
    pooled = pool_counts([from_episodes(*zip(*part, strict=True), REASONS) for part in parts])
    assert same(whole, pooled)
    assert whole.episodes == len(rows)
    assert whole.at_risk[0] == len(rows)


def test_rows_that_stand_for_many_episodes() -> None:
    counts = from_rows([5.0, 2.0, 5.0], [0, -1, 0], [3, 2, 4], REASONS)
    assert counts.hours.tolist() == [2, 5]
    assert counts.events.tolist() == [[0, 0], [7, 0]]
    assert counts.censored.tolist() == [2, 0]
    assert counts.at_risk.tolist() == [9, 7]


def test_at_risk_counts_those_still_there_just_before() -> None:
    counts = from_episodes([10, 20, 20, 30], [0, 0, -1, 1], REASONS)
    assert counts.at_risk_at([0, 10, 10.25, 20, 30, 31]).tolist() == [4, 4, 3, 3, 1, 0]


def test_later_episodes_are_censored_at_the_end_of_the_window() -> None:
    counts = from_episodes([10, 20, 20, 30], [0, 0, -1, 1], REASONS).upto(20)
    assert counts.hours.tolist() == [10, 20]
    assert counts.events.tolist() == [[1, 0], [1, 0]]
    assert counts.censored.tolist() == [0, 2]
    assert counts.upto(20).episodes == 4


def test_no_episodes() -> None:
    counts = from_episodes([], [], REASONS)
    assert (counts.episodes, counts.removed) == (0, 0)
    assert counts.at_risk_at([0]).tolist() == [0]
    assert np.isnan(counts.last_hour)


@pytest.mark.parametrize(
    ("hours", "reason"),
    [([1.0], [2]), ([1.0], [-2]), ([-1.0], [0]), ([np.nan], [0]), ([1.0, 2.0], [0])],
)
def test_what_does_not_fit_is_refused(hours: list, reason: list) -> None:
    with pytest.raises(ValueError, match=r"reason|hour"):
        from_episodes(hours, reason, REASONS)


def test_groups_to_add_must_list_the_same_reasons() -> None:
    with pytest.raises(ValueError, match="same reasons"):
        pool_counts([from_episodes([1], [0], ["a"]), from_episodes([1], [0], ["b"])])
