"""Months, quarters and when a month is final."""

import datetime as dt

import pytest

from pipeline.errors import UsageError
from pipeline.measures import periods


@pytest.mark.parametrize(
    ("month", "quarter"),
    [
        ("2025-01", "2025-Q1"),
        ("2025-03", "2025-Q1"),
        ("2025-04", "2025-Q2"),
        ("2025-12", "2025-Q4"),
    ],
)
def test_a_month_lies_in_its_quarter(month, quarter):
    assert periods.quarter_of(month) == quarter
    first, last = periods.months_of(quarter)
    assert first <= month <= last


def test_months_run_over_the_end_of_the_year():
    assert periods.months_between("2024-11", "2025-02") == [
        "2024-11", "2024-12", "2025-01", "2025-02"
    ]  # fmt: skip
    assert periods.months_between("2025-02", "2025-01") == []


def test_a_month_is_final_when_its_last_episode_has_had_the_follow_up():
    # The last child of December may have been placed at its last moment: with 96 h of
    # follow-up that is over as 5 January begins.
    assert periods.last_final_month(dt.date(2026, 1, 4), 96) == "2025-11"
    assert periods.last_final_month(dt.date(2026, 1, 5), 96) == "2025-12"
    assert periods.last_final_month(dt.date(2026, 1, 7), 168) == "2025-11"
    assert periods.last_final_month(dt.date(2026, 1, 8), 168) == "2025-12"
    assert periods.last_final_month(dt.date(2026, 1, 1), 0) == "2025-12"


@pytest.mark.parametrize("wrong", ["2025-13", "2025-00", "2025", "25-01", "2025-1", "x"])
def test_what_is_no_month_is_refused(wrong):
    with pytest.raises(UsageError, match="not a month"):
        periods.quarter_of(wrong)


@pytest.mark.parametrize("wrong", ["2025-Q5", "2025-04", "Q1"])
def test_what_is_no_quarter_is_refused(wrong):
    with pytest.raises(UsageError, match="not a quarter"):
        periods.months_of(wrong)


@pytest.mark.parametrize(
    ("quarter", "back", "before"),
    [("2025-Q1", 1, "2024-Q4"), ("2025-Q4", 1, "2025-Q3"), ("2025-Q2", 8, "2023-Q2")],
)
def test_the_quarter_before_crosses_years(quarter, back, before):
    assert periods.quarter_before(quarter, back) == before
