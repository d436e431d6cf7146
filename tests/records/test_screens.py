"""What a key must not look like, and what it may."""

import random
import re
import string

import duckdb
import pytest

from pipeline.records.screens import CELL_SCREENS, KEY_SCREENS, any_of, likenesses


def told(value: str, screens=KEY_SCREENS) -> str | None:  # type: ignore[no-untyped-def]
    """Return the first rule that a value breaks, by the engine that a load uses."""
    with duckdb.connect() as connection:
        for rule, patterns in screens:
            found = connection.execute(
                "select regexp_matches(?, ?)", [value, any_of(patterns)]
            ).fetchall()
            if found[0][0]:
                return str(rule)
    return None


@pytest.mark.parametrize(
    ("value", "rule"),
    [
        ("wren@example.org", "an e-mail address"),
        ("2014-05-06", "a date"),
        ("6.5.2014", "a date"),
        ("06/05/14", "a date"),
        ("12 December 2014", "a date"),
        ("Dec 12, 2014", "a date"),
        ("+44 20 7946 0000", "a telephone number"),
        ("(020) 7946", "a telephone number"),
        ("555-010-0199", "a telephone number"),
        ("078-05-1120", "a national number"),
        ("140506-1234", "a national number"),
        ("060514A123B", "a national number"),
        ("AB1 2CD", "a postcode"),
        ("1234 AB", "a postcode"),
        ("Wren Heron", "a name"),
        ("heron, wren", "a name"),
        ("Mary-Anne O’Wren", "a name"),
    ],
)
def test_what_identifies_is_told(value: str, rule: str) -> None:
    assert told(value) == rule


@pytest.mark.parametrize(
    "value",
    ["e1", "E000123", "ebbbbbbk", "3f9a2c71d0", "550e8400-e29b-41d4-a716-446655440000",
     "2025-0012", "av-2025-04-17", "k_9", "01-0001-003", "QWXKZP", "p24zh73zxbxjob4mpwpde"],
)  # fmt: skip
def test_what_is_opaque_passes(value: str) -> None:
    if value == "av-2025-04-17":
        assert told(value) == "a date"  # a key that carries a date is no opaque key
    else:
        assert told(value) is None


def test_codes_may_be_words_but_not_names() -> None:
    assert told("Foot", CELL_SCREENS) is None
    assert told("end of course", CELL_SCREENS) is None
    assert told("Wren Heron", CELL_SCREENS) == "a name"


def test_random_keys_are_not_taken_for_numbers_or_names() -> None:
    chance = random.Random(5)
    for letters in (string.digits, string.ascii_letters + string.digits, "0123456789abcdef"):
        for length in (8, 9, 10, 11, 12):
            sample = ["".join(chance.choices(letters, k=length)) for _ in range(2000)]
            assert likenesses(sample) == [], (letters, length)


def test_the_share_of_keys_tells_a_likeness() -> None:
    assert likenesses(["Anna"]) == [("a name", 1)]
    assert likenesses([f"k{i}" for i in range(200)] + ["Anna"]) == []
    assert likenesses(["20140506", "20150607"])[0][0] == "a date"
    # 943 476 5919 is the example number of the NHS data dictionary (recalled, not retrieved).
    assert likenesses(["9434765919"] * 4)[0][0] == "a national number"


def test_patterns_are_read_alike_by_python() -> None:
    for _, patterns in (*KEY_SCREENS, *CELL_SCREENS):
        for pattern in patterns:
            if r"\p{" not in pattern:
                re.compile(pattern)
