"""Reductions of episodes to counts, on small tables."""

import math
from pathlib import Path

import pytest

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.dwell_counts import (
    clock_rows,
    interval_rows,
    model_rows,
    pump_rows,
    removal_rows,
)
from pipeline.measures.where import parse_condition
from pipeline.store import Store

EPISODES = """
    episode_id | site   | nerve_target | placed_month | age_years | removed_h | removed_after_h | removed_before_h | last_known_in_place_h | removal_reason
    e1         | avocet | femoral      | 2025-01      | 4         | 30        |                 |                  |                       | dislodged
    e2         | avocet | femoral      | 2025-02      | 9         | 72        |                 |                  |                       | completed
    e3         | dunlin | axillary     | 2025-02      | 9         |           | 40              | 50               |                       | leakage
    e4         | dunlin | axillary     | 2025-03      |           |           |                 |                  | 60                    |
    e5         | dunlin | axillary     | 2025-03      | 12        |           |                 |                  |                       |
"""  # noqa: E501


@pytest.fixture
def store(db):
    db.keeps_ready = True
    return Store(db.connection, Path("memory"))


def tuples(frame, *columns):
    return frame.select(columns).rows()


def test_removals_are_counted_by_hour_and_reason(db, store) -> None:
    db.given("episode", EPISODES)
    frame = removal_rows(store)
    assert tuples(frame, "hours", "reason", "n", "midpoints") == [
        (30.0, "dislodged", 1, 0),
        (45.0, "leakage", 1, 1),
        (60.0, None, 1, 0),
        (72.0, "completed", 1, 0),
        (None, None, 1, 0),
    ]


def test_groups_and_strata_and_conditions(db, store) -> None:
    db.given("episode", EPISODES)
    frame = removal_rows(store, "site", strata="limb", where=parse_condition("age_years >= 9"))
    assert tuples(frame, "stratum", "group", "hours") == [
        ("lower", "avocet", 72.0),
        ("upper", "dunlin", 45.0),
        ("upper", "dunlin", None),
    ]


def test_months_choose_episodes(db, store) -> None:
    db.given("episode", EPISODES)
    frame = removal_rows(store, months=("2025-02", "2025-02"))
    assert frame["hours"].to_list() == [45.0, 72.0]


def test_a_condition_with_or_stays_together_with_the_months(db, store) -> None:
    db.given("episode", EPISODES)
    where = parse_condition("age_years = 4 or age_years = 9")
    frame = removal_rows(store, where=where, months=("2025-02", "2025-12"))
    assert frame["hours"].to_list() == [45.0, 72.0]


def test_what_is_not_recorded_is_a_group(db, store) -> None:
    db.given(
        "episode", "episode_id | skin_glue | removed_h\ne1 | yes | 10\ne2 | | 20\ne3 | no | 30"
    )
    assert removal_rows(store, "skin_glue")["group"].to_list() == ["no", "not_recorded", "yes"]


def test_nothing_to_analyse(db, store) -> None:
    db.given("episode", EPISODES)
    for text in ("site = 'curlew'", "age_years = 12"):
        with pytest.raises(NoDataError):
            removal_rows(store, where=parse_condition(text))


@pytest.mark.parametrize("by", ["age_years", "reason", "episode_id; drop table episode"])
def test_unknown_groups_are_refused(store, by: str) -> None:
    with pytest.raises(UsageError, match="cannot be grouped"):
        removal_rows(store, by)


def test_intervals(db, store) -> None:
    db.given("episode", EPISODES)
    assert interval_rows(store).rows() == [
        (30.0, 30.0, 1),
        (40.0, 50.0, 1),
        (60.0, math.inf, 1),
        (72.0, 72.0, 1),
    ]


def test_children_with_several_catheters_keep_rows_of_their_own(db, store) -> None:
    db.given(
        "episode",
        """
        episode_id | patient_key | age_years | removed_h | removal_reason
        e1         | p1          | 4         | 30        | dislodged
        e2         | p1          | 4         | 30        | dislodged
        e3         | p2          | 4         | 30        | dislodged
        e4         |             | 4         | 30        | dislodged
        """,
    )
    frame = model_rows(store, ["age_years"])
    assert sorted(tuples(frame, "child", "n"), key=str) == [(1, 2), (None, 2)]


def test_a_model_takes_only_what_is_known_at_placement(store) -> None:
    with pytest.raises(UsageError, match="cannot be adjusted for removed_by"):
        model_rows(store, ["removed_by"])


def test_clock_hours_need_an_exact_time(db, store) -> None:
    db.given("episode", EPISODES)
    assert tuples(clock_rows(store), "dwell_h", "reason") == [
        (30.0, "dislodged"),
        (60.0, None),
        (72.0, "completed"),
    ]


def test_pumps(db, store) -> None:
    db.given(
        "episode",
        "episode_id | rate_ml_h | reservoir_ml | removed_h\ne1 | 4 | 300 | 72\ne2 | | 300 | 72",
    )
    assert pump_rows(store).rows() == [(4.0, 300.0, 72.0, True, 1), (None, 300.0, 72.0, True, 1)]
