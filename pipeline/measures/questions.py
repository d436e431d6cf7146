"""Worked questions: each file of `sql/questions`, with how to read its answer."""

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

from pipeline.errors import DwellError, UsageError
from pipeline.resources import resource

Value = str | int | float

_LINE = re.compile(r"--\s*(title|read|set):\s*(.*)")
_SET = re.compile(r"(\w+) (text|integer|number) (\S+) -- (.+)")
_TYPES: dict[str, type[str] | type[int] | type[float]] = {
    "text": str,
    "integer": int,
    "number": float,
}

SITES = "select site from site order by site"  # what a question's `site` may be set to


@dataclass(frozen=True)
class Parameter:
    """A value that a question can be asked with: typed, bound, with a default."""

    name: str
    type: str
    default: Value
    description: str

    def read(self, text: str) -> Value:
        """Return a value as typed on the command line; raises `UsageError`."""
        try:
            value = _TYPES[self.type](text)
        except ValueError:
            value = math.nan
        # Larger ones are no number to the database.
        if not isinstance(value, str) and not abs(value) < 1e9:
            raise UsageError(f"{self.name} must be {_A[self.type]}.")
        return value


_A = {"text": "text", "integer": "a whole number", "number": "a number"}


@dataclass(frozen=True)
class Question:
    """A question in words, its select, and how to read the answer."""

    name: str
    title: str
    read: str
    parameters: tuple[Parameter, ...]
    sql: str

    def values(self, given: Mapping[str, str]) -> dict[str, Value]:
        """Return a value for every parameter: those given, else the defaults.

        Raises
        ------
        UsageError
            A name is not one of the question's, or a value is not of its type.
        """
        known = {parameter.name: parameter for parameter in self.parameters}
        for name in given:
            if name not in known:
                raise UsageError(
                    f"{self.name} has no setting {name}.",
                    try_next=f"one of {', '.join(known)}" if known else "without --set",
                )
        return {
            name: parameter.read(given[name]) if name in given else parameter.default
            for name, parameter in known.items()
        }


class QuestionError(DwellError):
    """A question's file does not say what it must: a fault of the installation."""


@cache
def load_questions() -> Mapping[str, Question]:
    """Read every question, by name; raises `QuestionError`."""
    paths = sorted(resource("sql", "questions").glob("*.sql"))
    return MappingProxyType({path.stem: read_question(path) for path in paths})


def find_question(name: str) -> Question:
    """Return the question called `name`; `UsageError` names the nearest."""
    questions = load_questions()
    if name in questions:
        return questions[name]
    near = difflib.get_close_matches(name, questions, n=1)
    raise UsageError(
        f"There is no question {name}.",
        try_next=f"dwell questions {near[0]}" if near else "dwell questions, for the list",
    )


def read_question(path: Path) -> Question:
    """Read one file of `sql/questions`; raises `QuestionError`."""
    text = path.read_text(encoding="utf-8")
    found: dict[str, list[str]] = {"title": [], "read": [], "set": []}
    last = ""
    for line in text.splitlines():
        if not line.startswith("--"):
            break
        match = _LINE.fullmatch(line)
        last = match[1] if match else last
        if not last:
            raise QuestionError(f"{path.name}: begins with a line without a name.")
        value = match[2] if match else line.removeprefix("--").strip()
        found[last].append(value)
    if not found["title"] or not found["read"]:
        raise QuestionError(f"{path.name}: has no title, or does not say how to read it.")
    return Question(
        path.stem,
        " ".join(found["title"]),
        " ".join(found["read"]),
        tuple(_parameter(path, line) for line in found["set"]),
        text,
    )


def _parameter(path: Path, line: str) -> Parameter:
    match = _SET.fullmatch(line)
    if match is None:
        raise QuestionError(f"{path.name}: cannot read a setting.")
    name, type_, default, description = match.groups()
    return Parameter(name, type_, _TYPES[type_](default), description)
