"""A condition on episodes as a user writes it, made into SQL that cannot do harm.

    limb = 'lower' and (age_years < 6 or surgeon_type in ('trauma', 'sports'))

Only listed columns, comparisons, `and`, `or`, `not` and parentheses are understood.
Every value is bound as a parameter; none of the text reaches the database.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NoReturn

from pipeline.errors import UsageError
from pipeline.measures.dimensions import DIMENSIONS, Dimension, Holds

LONGEST = 2000  # characters
DEEPEST = 40  # parentheses within parentheses
EXAMPLE = "--where \"limb = 'lower' and age_years >= 6\""

Value = str | float | bool


@dataclass(frozen=True)
class Condition:
    """SQL over the columns of `episode_dwell`, and the values bound to its marks.

    `columns` are those it uses.
    """

    sql: str
    params: tuple[Value, ...]
    columns: tuple[str, ...]


EVERYTHING = Condition("true", (), ())


def parse_condition(text: str | None) -> Condition:
    """Make a condition from what the user wrote; None or blank holds for every episode.

    Raises
    ------
    UsageError
        It is no condition of the kind above; the message says where and why.
    """
    if text is None or not text.strip():
        return EVERYTHING
    if len(text) > LONGEST:
        raise UsageError(f"The condition is longer than {LONGEST} characters.", try_next=EXAMPLE)
    parser = _Parser(_tokens(text))
    sql = parser.either(0)
    parser.end()
    return Condition(sql, tuple(parser.params), tuple(dict.fromkeys(parser.columns)))


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str
    at: int


_PATTERN = re.compile(
    r"""\s*(?:
        (?P<text>'(?:[^']|'')*'|"(?:[^"]|"")*")
      | (?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?![\w.]))
      | (?P<word>[A-Za-z_][A-Za-z_0-9]*)
      | (?P<sign><>|!=|<=|>=|=|<|>|\(|\)|,)
    )""",
    re.VERBOSE,
)
_KEYWORDS = {"and", "or", "not", "in", "is", "null", "between"}
_COMPARISONS = {"=": "=", "!=": "<>", "<>": "<>", "<": "<", "<=": "<=", ">": ">", ">=": ">="}
_YES_NO = {"yes": True, "true": True, "no": False, "false": False}


def _tokens(text: str) -> list[_Token]:
    found: list[_Token] = []
    at, end = 0, len(text.rstrip())
    while at < end:
        match = _PATTERN.match(text, at)
        if match is None:
            place = at + len(text[at:]) - len(text[at:].lstrip())
            _stop(place, "this character is not understood")
        kind = str(match.lastgroup)
        word = match.group(kind)
        start = match.start(kind)
        if kind == "word" and word.lower() in _KEYWORDS:
            kind, word = "keyword", word.lower()
        found.append(_Token(kind, word, start))
        at = match.end()
    return [*found, _Token("end", "", end)]


class _Parser:
    """Reads tokens from left to right; `or` binds weakest, `not` strongest."""

    def __init__(self, tokens: list[_Token]) -> None:
        self.tokens = tokens
        self.place = 0
        self.params: list[Value] = []
        self.columns: list[str] = []

    @property
    def here(self) -> _Token:
        return self.tokens[self.place]

    def take(self, kind: str, text: str | None = None) -> _Token | None:
        """Move past the token if it is the one asked for."""
        token = self.here
        if token.kind != kind or (text is not None and token.text != text):
            return None
        self.place += 1
        return token

    def need(self, kind: str, text: str | None, wanted: str) -> _Token:
        token = self.take(kind, text)
        if token is None:
            _stop(self.here.at, f"{wanted} is expected")
        return token

    def end(self) -> None:
        if self.here.kind != "end":
            _stop(self.here.at, "`and`, `or` or the end is expected")

    def either(self, depth: int) -> str:
        parts = [self.both(depth)]
        while self.take("keyword", "or"):
            parts.append(self.both(depth))
        return parts[0] if len(parts) == 1 else f"({' or '.join(parts)})"

    def both(self, depth: int) -> str:
        parts = [self.single(depth)]
        while self.take("keyword", "and"):
            parts.append(self.single(depth))
        return parts[0] if len(parts) == 1 else f"({' and '.join(parts)})"

    def single(self, depth: int) -> str:
        if depth > DEEPEST:
            _stop(self.here.at, "too many parentheses within one another")
        if self.take("keyword", "not"):
            return f"(not {self.single(depth + 1)})"
        if self.take("sign", "("):
            inner = self.either(depth + 1)
            self.need("sign", ")", "`)`")
            return f"({inner})"
        return self.comparison()

    def comparison(self) -> str:
        token = self.need("word", None, "the name of a column")
        column = DIMENSIONS.get(token.text.lower())
        if column is None:
            raise UsageError(
                f"Episodes cannot be chosen by {token.text}.",
                try_next=f"one of {', '.join(DIMENSIONS)}",
            )
        self.columns.append(token.text.lower())
        if self.take("keyword", "is"):
            negated = bool(self.take("keyword", "not"))
            self.need("keyword", "null", "`null`")
            return f"({column.column} is {'not ' if negated else ''}null)"
        negated = bool(self.take("keyword", "not"))
        found = self.one_of(column) or self.within(column)
        if found is not None:
            return f"(not {found})" if negated else found
        if negated:
            _stop(self.here.at, "`in` or `between` is expected")
        return self.compared(column)

    def compared(self, column: Dimension) -> str:
        sign = self.take("sign")
        if sign is None or sign.text not in _COMPARISONS:
            _stop(self.here.at if sign is None else sign.at, "a comparison such as `=` is expected")
        if column.holds is Holds.YES_NO and sign.text not in {"=", "!=", "<>"}:
            _stop(sign.at, "yes and no can only be equal or not")
        return f"({column.column} {_COMPARISONS[sign.text]} {self.value(column)})"

    def one_of(self, column: Dimension) -> str | None:
        if not self.take("keyword", "in"):
            return None
        self.need("sign", "(", "`(`")
        marks = [self.value(column)]
        while self.take("sign", ","):
            marks.append(self.value(column))
        self.need("sign", ")", "`)`")
        return f"({column.column} in ({', '.join(marks)}))"

    def within(self, column: Dimension) -> str | None:
        token = self.take("keyword", "between")
        if token is None:
            return None
        if column.holds is Holds.YES_NO:
            _stop(token.at, "yes and no can only be equal or not")
        low = self.value(column)
        self.need("keyword", "and", "`and`")
        return f"({column.column} between {low} and {self.value(column)})"

    def value(self, column: Dimension) -> str:
        """Bind the value that comes next, and return its mark."""
        token = self.here
        self.params.append(_value(token, column))
        self.place += 1
        return "?"


def _value(token: _Token, column: Dimension) -> Value:
    if column.holds is Holds.NUMBER and token.kind == "number":
        return float(token.text)
    if column.holds is Holds.YES_NO:
        word = _unquoted(token) if token.kind == "text" else token.text
        if token.kind in {"word", "text"} and word.lower() in _YES_NO:
            return _YES_NO[word.lower()]
    if column.holds is Holds.TEXT and token.kind in {"text", "word"}:
        word = _unquoted(token) if token.kind == "text" else token.text
        return _known(word, column, token.at)
    return _stop(token.at, f"{column.holds.value} is expected")


def _known(value: str, column: Dimension, at: int) -> str:
    """Refuse a code that no record can hold: it is a slip of the pen."""
    if column.codes is not None:
        allowed = [member.value for member in column.codes]
        if value not in allowed:
            _stop(at, f"{column.column} is one of {', '.join(allowed)}")
    return value


def _unquoted(token: _Token) -> str:
    quote = token.text[0]
    return token.text[1:-1].replace(quote * 2, quote)


def _stop(at: int, why: str) -> NoReturn:
    raise UsageError(
        f"The condition is not understood at character {at + 1}: {why}.", try_next=EXAMPLE
    )
