"""Which forms an opaque key has: a key is taken for what it is, not for what it is not.

A keyed hash, a short code with few letters or a code of consonants is taken as it stands.
Other codes are told by their column: random codes of one length, numbers that run on, or
one word before a number in many keys. A site's mapping can declare the form of its keys,
and then every key must have it: ``A`` stands for a letter, ``9`` for a digit, ``X`` for
either, and ``- _ . /`` for themselves.

The patterns are read by the database's engine, which knows no look-ahead: a form is what
matches the whole key, what must stand in it, and what must not.
"""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipeline.records.screens import ADDRESS, DATE, EMAIL, NATIONAL, POSTCODE, TELEPHONE

DECLARED = re.compile(r"(?=.*[9X])[A9X._/-]{3,40}")
_DECLARED_AS = {"A": "[A-Za-z]", "9": "[0-9]", "X": "[A-Za-z0-9]"}

_CONSONANT = "[b-df-hj-np-tv-xzB-DF-HJ-NP-TV-XZ]"
_GROUP = "([A-Za-z]{0,3}[0-9]{1,6}){1,3}[A-Za-z]{0,3}"
_PREFIX = (
    "(?i:pt|pat|patient|child|case|ep|episode|cath|catheter|call|contact|visit|study|subject"
    "|record|key|row|site)"
)
_HEX = "([0-9a-f]{16,64}|[0-9A-F]{16,64})"

# What a refused key looks like, the first that fits.
KEY_SCREENS = (
    EMAIL,
    DATE,
    TELEPHONE,
    NATIONAL,
    POSTCODE,
    ADDRESS,
    ("a hospital number", ("(?i)^(mrn|nhs|chi|ssn|hn|hosp|urn|nhi|pid)[^a-z]", "[0-9]{7,}")),
    ("a name", (r"\p{L}{4,}", r"\p{Lo}", r"^[\p{L}\p{M} .,'’_-]+$")),
)
NO_FORM = "no opaque key"
MANY = 20  # distinct keys that tell a form of their own
MOSTLY = 0.9  # of them
SHARED = 5  # keys with one word before their number


@dataclass(frozen=True)
class KeyForm:
    """A form of keys: the whole pattern, what must stand in a key, and what must not."""

    whole: str
    needs: tuple[str, ...] = ()
    refuses: tuple[str, ...] = ()


# The quickest to tell first: of most files one is enough.
FORMS = (
    KeyForm(f"[A-Za-z]{_CONSONANT}{{5,11}}"),
    KeyForm("[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"),
    KeyForm(f"[a-zA-Z]?{_HEX}", needs=("[0-9]", "[a-fA-F]")),
    # As `dwell pseudonymise` makes them. A word of that length has vowels everywhere.
    KeyForm("[a-z][a-z2-7]{20}", needs=(f"[2-7]|{_CONSONANT}{{4}}",)),
    KeyForm(
        "[A-Za-z0-9_-]{22}(==)?|[A-Za-z0-9_-]{43}=?",
        needs=("[0-9]", "[a-z]", "[A-Z]"),
        refuses=("(^|[_-])[A-Z][a-z]{2,}([_-]|[0-9]{2,}|$)",),
    ),
    KeyForm(
        f"({_PREFIX}[-_. ]?|[A-Za-z]{{1,3}}[-_./ ])?{_GROUP}([-_./]{_GROUP}){{0,3}}",
        refuses=(
            "([0-9][^0-9]*){10}",
            *(p for _, patterns in KEY_SCREENS[:-1] for p in patterns),
        ),
    ),
)

# Six digits that are a day, and letters before a year: by chance in a single key, not in many.
DAY_OR_YEAR = (
    "(^|[^0-9])([0-9]{2}(0[1-9]|1[0-2])(0[1-9]|[12][0-9]|3[01])"
    "|(0[1-9]|[12][0-9]|3[01])(0[1-9]|1[0-2])[0-9]{2}"
    "|(0[1-9]|1[0-2])(0[1-9]|[12][0-9]|3[01])[0-9]{2})([^0-9]|$)"
    "|[A-Za-z]{2}[-_./]?(19[5-9]|20[0-3])[0-9]([^0-9]|$)"
)


@dataclass(frozen=True)
class KeyShape:
    """How many keys of a column share a shape, such as ``A9999``.

    Attributes
    ----------
    dated : int
        Of them, keys that match `DAY_OR_YEAR`.
    low, high : int
        Smallest and largest number that their digits make.
    words : int
        Distinct letters that stand with the digits.
    """

    keys: int
    dated: int
    low: int
    high: int
    words: int

    @property
    def runs_on(self) -> bool:
        """Whether few words have numbers that follow each other, as days of birth do not."""
        return self.keys >= max(3, 3 * self.words) and self.high - self.low < 10 * self.keys


def dated_keys(shapes: Sequence[KeyShape]) -> int:
    """Return how many keys look like a date, since most do or since they are the odd ones.

    Only a column whose keys are alike has odd ones: random codes have a shape each.
    """
    every = sum(shape.keys for shape in shapes)
    alike = sum(shape.keys for shape in shapes if shape.keys >= every / 10)
    is_regular = every >= MANY and alike >= MOSTLY * every
    odd = [s for s in shapes if is_regular and s.keys < every / 10 and s.dated]
    most = [s for s in shapes if s.dated > s.keys / 2 and s.keys >= every / 2]
    return sum(shape.dated for shape in (*most, *odd) if not shape.runs_on)


def declared_form(text: str) -> KeyForm:
    """Return the form that a mapping declares; see `DECLARED` for what it may be."""
    return KeyForm("".join(_DECLARED_AS.get(c, re.escape(c)) for c in text))


def column_forms(keys: Sequence[str]) -> list[KeyForm]:
    """Return the forms that a column's own keys declare by being many and alike.

    Parameters
    ----------
    keys : sequence of str
        Distinct keys of the column, all or a sample of them.
    """
    found = _shared_words(keys)
    if len(keys) >= MANY:
        inner = sorted(keys)[len(keys) // 20 : len(keys) - len(keys) // 20]
        prefix = inner[0]
        while not inner[-1].startswith(prefix):
            prefix = prefix[:-1]
        rest = [key.removeprefix(prefix) for key in keys if key.startswith(prefix)]
        for pattern in (_running(rest), _random(rest)):
            found += [KeyForm(re.escape(prefix) + pattern)] if pattern else []
    return found


def _shared_words(keys: Sequence[str]) -> list[KeyForm]:
    """One word before a number, in at least `SHARED` keys: a place or a study, not a child."""
    words = Counter(m[1] for key in keys if (m := re.fullmatch("([A-Za-z]+)[-_. ]?[0-9]+", key)))
    shared = [word for word, count in words.items() if count >= SHARED]
    return [KeyForm(f"({'|'.join(shared)})[-_. ]?[0-9]{{1,6}}")] if shared else []


def _running(rest: Sequence[str]) -> str | None:
    """Numbers that run on: nearly as many keys as there are numbers between them."""
    numbers = sorted(int(key) for key in rest if re.fullmatch("[0-9]{1,9}", key))
    inner = numbers[len(numbers) // 20 : len(numbers) - len(numbers) // 20]
    if len(numbers) < MOSTLY * len(rest) or inner[-1] - inner[0] >= 10 * len(inner):
        return None
    widths = [len(key) for key in rest]
    return f"[0-9]{{{min(widths)},{max(len(str(inner[-1])) + 1, min(widths))}}}"


def _random(rest: Sequence[str]) -> str | None:
    """Codes of one length in which letters and digits stand at the same places."""
    length, count = Counter(map(len, rest)).most_common(1)[0]
    alike = [key for key in rest if len(key) == length]
    if length < 5 or count < MOSTLY * len(rest):
        return None
    for alphabet in ("[0-9a-f]", "[0-9A-F]", "[0-9a-z]", "[0-9A-Z]", "[0-9A-Za-z]"):
        fitting = [key for key in alike if re.fullmatch(f"{alphabet}+", key)]
        if len(fitting) >= MOSTLY * len(rest):
            places = [{char.isdigit() for char in place} for place in zip(*fitting, strict=True)]
            mixed = sum(len(kinds) == 2 for kinds in places)
            return f"{alphabet}{{{length}}}" if mixed >= 0.8 * length else None
    return None


def likenesses(keys: Sequence[str]) -> list[tuple[str, int]]:
    """Return the rules of `LIKENESSES` that most of `keys` break, with counts."""
    found = [(rule, sum(map(looks, keys))) for rule, looks in LIKENESSES]
    return [(rule, count) for rule, count in found if count >= max(4, len(keys) / 2)]


def _nine_or_ten(key: str) -> bool:
    """Nine or ten digits that pass Luhn's check or the eleven test."""
    if not re.fullmatch("[0-9]{9,10}", key):
        return False
    digits = [int(c) for c in key]
    weights = range(len(digits), 1, -1)
    rest = sum(d * w for d, w in zip(digits, weights, strict=False)) % 11
    doubled = [d if i % 2 == 0 else sum(divmod(2 * d, 10)) for i, d in enumerate(digits)]
    luhn = len(digits) == 9 and sum(doubled) % 10 == 0
    return luhn or digits[-1] == (rest if len(digits) == 9 else (11 - rest) % 11)


def _written(pattern: str) -> Callable[[str], bool]:
    return lambda key: re.fullmatch(pattern, key) is not None


# Forms that some codes have by chance, and few columns.
LIKENESSES: tuple[tuple[str, Callable[[str], bool]], ...] = (
    ("a national number", _nine_or_ten),
    ("a national number", _written("[0-9]{8}[A-Z]|[XYZ][0-9]{7}[A-Z]")),
    ("a postcode", _written("[A-Z]{1,2}[0-9]{1,2}[A-Z]?[0-9][A-Z]{2}")),
    ("a date", _written("(19|20)[0-9]{2}(0[1-9]|1[0-2])[0-3][0-9]")),
    ("a date", _written("[0-3][0-9](0[1-9]|1[0-2])(19|20)[0-9]{2}")),
)
