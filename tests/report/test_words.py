"""Numbers and periods in words: two figures, right plurals, no exponent."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.words import numbers as words


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (9.96, "10"),
        (63.72, "64"),
        (99.4, "99.4"),
        (99.53, "99.5"),
        (99.693, "99.7"),
        (99.97, "99.97"),
        (100, "100"),
        (1234.5, "1,234"),
        (0.0123, "0.012"),
        (0.0996, "0.10"),
        (5, "5.0"),
        (-2.34, "\N{MINUS SIGN}2.3"),
        (math.nan, "not known"),
        (math.inf, "not known"),
    ],
)
def test_a_rate_has_two_figures_and_loses_no_whole_digit(value, said):
    assert words.figure(value) == said


@given(st.floats(min_value=1e-4, max_value=1e5))
def test_a_printed_rate_is_within_half_its_last_figure(value):
    printed = words.figure(value)
    decimals = len(printed.partition(".")[2])
    assert abs(float(printed.replace(",", "")) - value) <= 0.5 * 10**-decimals * (1 + 1e-9)
    assert "e" not in printed


@pytest.mark.parametrize(
    ("number", "said"), [(0, "0 sites"), (1, "1 site"), (2, "2 sites"), (1204, "1,204 sites")]
)
def test_a_count_agrees_with_its_noun(number, said):
    assert words.count(number, "site") == said


def test_an_irregular_plural_is_given():
    assert words.count(2, "entry", "entries") == "2 entries"
    assert words.counted(1, "entry", "entries") == "one entry"
    assert words.counted(11, "row") == "11 rows"


def test_periods_are_spoken_as_people_say_them():
    assert words.month("2026-03") == "Mar 2026"
    assert words.quarter("2025-Q4") == "October to December 2025"


def test_lists_have_one_and():
    assert words.joined([]) == ""
    assert words.joined(["a"]) == "a"
    assert words.joined(["a", "b", "c"]) == "a, b and c"


def test_a_title_inside_a_sentence_keeps_its_abbreviation():
    assert words.lower_first("Large leakage") == "large leakage"
    assert words.lower_first("MRI before removal") == "MRI before removal"


@pytest.mark.parametrize(
    ("lower", "upper", "said"),
    [
        (0.4, 2.1, "0.40 to 2.1"),
        (0.4, float("inf"), "from 0.40, no upper limit"),
        (float("nan"), 2.1, "up to 2.1"),
    ],
)
def test_limits_without_an_end_are_said_in_words(lower, upper, said):
    assert words.limits(lower, upper) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(1.04, "1.04"), (0.951, "0.95"), (9.994, "9.99"), (9.996, "10"), (63.7, "64")],
)
def test_a_ratio_has_two_decimals_so_that_it_can_be_told_from_one(value, said):
    assert words.ratio(value) == said
