"""Counts by group and case mix: each episode in one cell, missing kept apart."""

import pytest

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.patterns import pattern_frames
from pipeline.store import open_store

CALLS = load_catalogue()["family_calls"]


@pytest.fixture
def store_file(db, tmp_path):
    db.given("episode", """
episode_id | site   | placed_month | age_years | planned_dwell_h | removed_h | removal_reason
e1         | avocet | 2025-04      | 4         | 48              | 48        | completed
e2         | avocet | 2025-06      | 9         | 72              | 36        | leakage
e3         | dunlin | 2025-05      | 9         | 96              | 72        | completed
e4         | dunlin | 2025-07      |           | 72              | 72        | completed
    """)  # fmt: skip
    db.given(
        "contact",
        """
        episode_id | at_h | direction
        e1         | 20   | service
        e2         | 20   | family
        e2         | 30   | family
        e3         | 20   | service
    """,
    )
    return db.save(tmp_path / "dwell.duckdb")


def counted(store_file, factors, **kwargs):
    with open_store(store_file) as store:
        frames = pattern_frames(store, [CALLS], factors, **kwargs)
        ((_, sums),) = frames.measures
        return frames.cells.join(sums, on="cell", how="left").to_dicts()


def test_sums_are_kept_by_group_and_band(store_file):
    found = {
        (row["site"], row["age_years"], row["planned_dwell_h"]): row
        for row in counted(store_file, ["site", "age_years", "planned_dwell_h"])
    }
    assert set(found) == {
        ("avocet", "03-05", "up to 48 h"),
        ("avocet", "06-11", "up to 72 h"),
        ("dunlin", "06-11", "over 72 h"),
        ("dunlin", None, "up to 72 h"),
    }
    called = found["avocet", "06-11", "up to 72 h"]
    assert (called["episodes"], called["with_event"], called["numerator"]) == (1, 1, 2)
    assert called["denominator"] == pytest.approx(1.5)
    assert called["numerator_squared"] == 4
    assert called["cross_product"] == pytest.approx(3.0)
    assert called["denominator_squared"] == pytest.approx(2.25)


def test_an_unknown_numerator_is_missing_and_not_zero(store_file):
    row = next(r for r in counted(store_file, ["site", "age_years"]) if r["age_years"] is None)
    assert (row["episodes"], row["missing_episodes"], row["numerator"]) == (0, 1, 0)
    assert row["missing_denominator"] == pytest.approx(3.0)


def test_a_change_splits_before_from_after_at_its_first_month(store_file):
    found = counted(store_file, ["period"], started_month="2025-05")
    assert {row["period"]: row["episodes"] for row in found} == {"before": 1, "after": 2}


def test_a_second_catheter_adds_an_episode_and_no_child(db, tmp_path):
    db.given("episode", """
episode_id | patient_key | site   | placed_month | removed_h | removal_reason
e1         | p1          | avocet | 2025-04      | 48        | completed
e2         | p1          | avocet | 2025-06      | 36        | leakage
e3         | p2          | avocet | 2025-05      | 72        | completed
e4         |             | avocet | 2025-05      | 72        | completed
    """)  # fmt: skip
    db.given(
        "contact",
        """
        episode_id | at_h | direction
        e1         | 20   | family
        e2         | 20   | family
        e3         | 20   | service
        e4         | 20   | family
    """,
    )
    saved = db.save(tmp_path / "dwell.duckdb")
    (row,) = counted(saved, ["site"])
    assert (row["episodes"], row["with_event"]) == (4, 3)
    assert (row["children"], row["children_with_event"]) == (3, 2)
    # In other months another catheter is the first.
    (row,) = counted(saved, ["site"], months=("2025-05", "2025-06"))
    assert (row["children"], row["children_with_event"]) == (3, 2)


def test_months_and_unknown_factors(store_file):
    assert len(counted(store_file, ["site"], months=("2025-05", "2025-05"))) == 1
    with pytest.raises(NoDataError):
        counted(store_file, ["site"], months=("2031-01", "2031-02"))
    with pytest.raises(UsageError, match="grouped by surgeon"):
        counted(store_file, ["surgeon"])
