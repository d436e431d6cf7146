"""Conditions on episodes: what is understood, and that nothing else reaches the database."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import UsageError
from pipeline.measures.dimensions import DIMENSIONS
from pipeline.measures.where import parse_condition


@pytest.mark.parametrize(
    ("text", "sql", "params"),
    [
        ("limb = 'lower'", "(limb = ?)", ("lower",)),
        ("limb=lower", "(limb = ?)", ("lower",)),
        ('site = "avocet"', "(site = ?)", ("avocet",)),
        ("age_years < 6", "(age_years < ?)", (6.0,)),
        ("AGE_YEARS <> -1.5", "(age_years <> ?)", (-1.5,)),
        ("skin_glue = yes", "(skin_glue = ?)", (True,)),
        ("tunnelled != 'no'", "(tunnelled <> ?)", (False,)),
        ("month >= '2025-04'", "(placed_month >= ?)", ("2025-04",)),
        ("drug is null", "(drug is null)", ()),
        ("drug is not null", "(drug is not null)", ()),
        ("surgeon_type in ('hand', 'sports')", "(surgeon_type in (?, ?))", ("hand", "sports")),
        ("age_years not in (1, 2)", "(not (age_years in (?, ?)))", (1.0, 2.0)),
        ("weight_kg between 10 and 20.5", "(weight_kg between ? and ?)", (10.0, 20.5)),
        (
            "limb = 'upper' or age_years < 6 and not skin_glue = yes",
            "((limb = ?) or ((age_years < ?) and (not (skin_glue = ?))))",
            ("upper", 6.0, True),
        ),
        (
            "(limb = 'upper' or limb = 'lower') and age_years >= 2",
            "((((limb = ?) or (limb = ?))) and (age_years >= ?))",
            ("upper", "lower", 2.0),
        ),
        ("site = 'o''brien'", "(site = ?)", ("o'brien",)),
    ],
)
def test_what_is_understood(text: str, sql: str, params: tuple) -> None:
    condition = parse_condition(text)
    assert (condition.sql, condition.params) == (sql, params)


@pytest.mark.parametrize("text", [None, "", "   "])
def test_no_condition_holds_for_every_episode(text: str | None) -> None:
    assert parse_condition(text).sql == "true"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("shoe_size = 4", "cannot be chosen by shoe_size"),
        ("reason = 'dislodged'", "cannot be chosen by reason"),
        ("patient_key = 'x'", "cannot be chosen by patient_key"),
        ("limb = 'wing'", "limb is one of upper, lower, trunk"),
        ("limb", "comparison"),
        ("limb =", "is expected"),
        ("limb = 4", "code"),
        ("age_years = 'six'", "a number is expected"),
        ("age_years < 6 limb = 'upper'", "`and`, `or` or the end"),
        ("(age_years < 6", r"`\)` is expected"),
        ("age_years < 6)", "the end is expected"),
        ("skin_glue > yes", "only be equal"),
        ("skin_glue = maybe", "yes or no is expected"),
        ("skin_glue between yes and no", "only be equal"),
        ("age_years not 6", "`in` or `between`"),
        ("age_years < 6; drop table episode", "character 14"),
        ("age_years < 6 -- and more", "the end is expected|not understood"),
        ("limb = 'lower", "character"),
        ("age_years = 1e400", "character"),
        ("age_years < (select max(age_years) from episode)", "a number is expected"),
        ("limb = lower(site)", "is one of|the end"),
        ("1 = 1", "name of a column"),
        ("not", "name of a column"),
        ("(" * 60 + "limb = 'lower'" + ")" * 60, "too many parentheses"),
        ("not " * 200 + "limb = 'lower'", "too many parentheses"),
        ("limb = 'lower' or " * 200 + "limb = 'lower'", "longer than"),
        ("limb in ()", "is expected"),
    ],
)
def test_what_is_not_understood_is_said(text: str, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        parse_condition(text)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_a_condition_or_a_clear_error(text: str) -> None:
    try:
        condition = parse_condition(text)
    except UsageError:
        return
    assert condition.sql.count("?") == len(condition.params)


PIECES = [
    "limb", "=", "'lower'", "age_years", "<", "6", "and", "or", "not", "(", ")", "in", ",",
    "between", "is", "null", "skin_glue", "yes", ";", "--", "'", '"', "select", "drop", "*",
]  # fmt: skip


@settings(max_examples=400, deadline=None)
@given(st.lists(st.sampled_from(PIECES), max_size=12))
def test_only_listed_words_reach_the_database(pieces: list[str]) -> None:
    try:
        sql = parse_condition(" ".join(pieces)).sql
    except UsageError:
        return
    allowed = {c.column for c in DIMENSIONS.values()} | {
        "and", "or", "not", "in", "is", "null", "between", "true", "?", "=", "<", "<>", ">", ">=",
        "<=",
    }  # fmt: skip
    for mark in "(),":
        sql = sql.replace(mark, " ")
    assert set(sql.split()) <= allowed
