"""What an opaque key, or any cell that is kept, must not look like.

Screens find what is plainly a name, a date, an address or a number that belongs to
one person. They catch slips; they do not certify that a file identifies nobody.
National numbers follow their published forms (recalled, not retrieved).
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

_D, _M = "(0[1-9]|[12][0-9]|3[01])", "(0[1-9]|1[0-2])"
_WORD = r"\p{Lu}[\p{Ll}'’]+(-\p{Lu}[\p{Ll}'’]+)*"
_MONTHS = "(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"

# What a single value is enough for: rule, and patterns searched anywhere in it.
EMAIL = ("an e-mail address", (r"[^@\s]+@[^@\s]+\.[^@\s]+",))
DATE = (
    "a date",
    (
        rf"\b[0-9]{{4}}[-/.]{_M}[-/.]{_D}\b",
        r"\b[0-3]?[0-9][-/.][0-3]?[0-9][-/.]([0-9]{4}|[0-9]{2})\b",
        rf"(?i)\b[0-3]?[0-9]\.? {_MONTHS},? [0-9]{{2,4}}\b",
        rf"(?i)\b{_MONTHS} [0-3]?[0-9],? [0-9]{{4}}\b",
    ),
)
TELEPHONE = (
    "a telephone number",
    (
        r"\+[0-9][0-9 ().-]{6,}[0-9]",
        r"\(0?[0-9]{2,5}\)[ -]?[0-9]{3}",
        r"\b0[0-9]{1,4}[ /][0-9]{3,4}[ -]?[0-9]{3,4}\b",
        r"\b[0-9]{3}[-. ][0-9]{3}[-. ][0-9]{4}\b",
    ),
)
NATIONAL = (
    "a national number",
    (
        r"\b[0-9]{3}-[0-9]{2}-[0-9]{4}\b",
        rf"\b([0-9]{{2}})?[0-9]{{2}}{_M}{_D}[-+][0-9]{{4}}\b",
        rf"\b{_D}{_M}[0-9]{{2}}[-+A][0-9]{{3}}[0-9A-Z]\b",
        r"\b[A-Z]{6}[0-9]{2}[A-Z][0-9]{2}[A-Z][0-9]{3}[A-Z]\b",
        r"\b[0-9]{3}\.[0-9]{3}\.[0-9]{3}-[0-9]{2}\b",
    ),
)
POSTCODE = (
    "a postcode",
    (
        r"(?i)\b[A-Z]{1,2}[0-9][A-Z0-9]? [0-9][A-Z]{2}\b",
        r"(?i)\b[A-Z][0-9][A-Z] [0-9][A-Z][0-9]\b",
        r"\b[0-9]{4} [A-Z]{2}\b",
        r"\b[0-9]{5}-[0-9]{4}\b",
    ),
)
NAME = ("a name", (rf"{_WORD}(,? +({_WORD}|\p{{Lu}}\.))+",))
WORDS = ("a name", (r"^\p{L}[\p{L}'’.-]*([ ,]+\p{L}[\p{L}'’.-]*)+$",))

KEY_SCREENS = (EMAIL, DATE, TELEPHONE, NATIONAL, POSTCODE, WORDS)
CELL_SCREENS = (EMAIL, DATE, TELEPHONE, NATIONAL, POSTCODE, NAME)
TEXT_SCREENS = (EMAIL, TELEPHONE, NATIONAL)


def any_of(patterns: Iterable[str]) -> str:
    """Join patterns into one."""
    return "|".join(f"({pattern})" for pattern in patterns)


def _digits(value: str) -> list[int]:
    return [int(c) for c in value]


def _mod11(value: str) -> bool:
    """Ten digits, the last a check digit of weights 10 to 2."""
    if not re.fullmatch(r"[0-9]{10}", value):
        return False
    rest = sum(d * w for d, w in zip(_digits(value), range(10, 1, -1), strict=False)) % 11
    return (11 - rest) % 11 == int(value[-1])


def _nine(value: str) -> bool:
    """Nine digits that pass Luhn's check or the eleven test."""
    if not re.fullmatch(r"[0-9]{9}", value):
        return False
    digits = _digits(value)
    doubled = [d if i % 2 == 0 else sum(divmod(2 * d, 10)) for i, d in enumerate(digits)]
    eleven = sum(d * w for d, w in zip(digits, (9, 8, 7, 6, 5, 4, 3, 2, -1), strict=True))
    return sum(doubled) % 10 == 0 or eleven % 11 == 0


def _matches(*patterns: str) -> Callable[[str], bool]:
    compiled = re.compile(any_of(patterns))
    return lambda value: compiled.fullmatch(value) is not None


@dataclass(frozen=True)
class Likeness:
    """A form that some opaque keys have by chance: told by the share of keys that have it."""

    rule: str
    looks: Callable[[str], bool]
    share: float
    least: int = 4  # fewer keys than this have the form by chance in a small file


LIKENESSES = (
    Likeness(
        "a date",
        _matches(rf"(19|20)[0-9]{{2}}{_M}{_D}", rf"{_D}{_M}(19|20)[0-9]{{2}}"),
        0.5,
        least=1,
    ),
    Likeness("a telephone number", _matches("0[0-9]{9,10}", "00[0-9]{9,13}"), 0.5),
    Likeness("a national number", _mod11, 0.5),
    Likeness("a national number", _nine, 0.5),
    Likeness(
        "a national number",
        _matches(
            rf"{_D}{_M}[0-9]{{7}}",
            rf"([0-9]{{2}})?[0-9]{{2}}{_M}{_D}[0-9]{{4,5}}",
            rf"[12][0-9]{{2}}{_M}[0-9]{{8}}([0-9]{{2}})?",
            "[0-9]{8}[A-Z]",
            "[XYZ][0-9]{7}[A-Z]",
        ),
        0.5,
    ),
    Likeness("a postcode", _matches("[A-Z]{1,2}[0-9]{1,2}[A-Z]?[0-9][A-Z]{2}"), 0.5),
    # Random letters and digits look like a capitalised word in far fewer than 2 in 100.
    Likeness("a name", _matches("[A-Z][a-z]{2,}"), 0.02, least=1),
)


def likenesses(values: list[str]) -> list[tuple[str, int]]:
    """Return what too many of `values`, a sample of a column's keys, look like, with counts."""
    found = []
    for likeness in LIKENESSES:
        count = sum(map(likeness.looks, values))
        if count >= likeness.least and count > likeness.share * len(values) * (1 - 1e-9):
            found.append((likeness.rule, count))
    return found
