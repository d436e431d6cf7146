"""What is wrong with a query, in a sentence of ours.

The database's own sentence is passed on only where it speaks of the query alone: others
can quote a record.
"""

import json
import re
from collections.abc import Callable, Mapping
from typing import Any

import duckdb

from pipeline.errors import UsageError
from pipeline.records.layout import RECORDS
from pipeline.store.views import view_selects

Told = Mapping[str, Any]  # a database error, in parts; see `errors_as_json`

OUTSIDE = "A query reads this store alone: no other file, no network, no other database."
WRITES = "The store is read-only here: nothing in it can be changed."

NO_EPISODES = "The store holds counts, and no single episodes"

_MOST = 5  # names offered in the place of an unknown one
_KINDS = {"Table": "table or view", "Scalar Function": "function", "Table Function": "function"}
_ITS_OWN_WORDS = (duckdb.ParserException, duckdb.BinderException, duckdb.CatalogException)
_OF_VALUES = (
    (
        duckdb.ConversionException,
        "A value cannot be converted to the type that the query asks for",
    ),
    (duckdb.OutOfRangeException, "A number does not fit the type that the query makes of it"),
    (duckdb.InvalidInputException, "A function of the query cannot take a value that it is given"),
)


def about_the_query(error: duckdb.Error, sql: str) -> UsageError | None:
    """Say what is wrong with the query; None where that is not what is wrong."""
    told = _parts(error)
    text = str(told.get("exception_message", ""))
    if isinstance(error, duckdb.PermissionException):
        return UsageError(OUTSIDE)
    if "read-only" in text:
        return UsageError(WRITES)
    if isinstance(error, duckdb.InvalidInputException) and "arameter" in text:
        return UsageError("The query has a parameter without a value.")
    if isinstance(error, _ITS_OWN_WORDS):
        say = _SAY.get(str(told.get("error_subtype")), _in_its_own_words)
        return say(told, sql)
    for kind, sentence in _OF_VALUES:
        if isinstance(error, kind):
            return UsageError(f"{sentence}{_place(told, sql)}.")
    return None


def _parts(error: duckdb.Error) -> Told:
    """Return the parts of an error, of which `exception_message` is one."""
    text = str(error)
    try:
        told = json.loads(text[text.index("{") :])
    except ValueError:
        return {"exception_message": text.partition(": ")[2]}
    return told if isinstance(told, dict) else {}


def _not_sql(told: Told, sql: str) -> UsageError:
    word = _word(told, sql)
    if word is None:
        return _in_its_own_words(told, sql)
    return UsageError(f"The SQL cannot be read at or just before {word}{_place(told, sql)}.")


def _no_column(told: Told, sql: str) -> UsageError:
    return UsageError(
        f"There is no column {told['name']}{_place(told, sql)}.",
        try_next=f"{_offered(told)}; text stands in 'single quotes'",
    )


def _not_there(told: Told, sql: str) -> UsageError:
    """Answer a table, function or type that does not exist."""
    kind, name = str(told.get("type")), str(told.get("name"))
    if kind == "Table" and not re.fullmatch(r"[\w.]+", name):
        return UsageError(OUTSIDE)  # a file's name in quotes
    if kind == "Table" and name in {*RECORDS, *dict(view_selects())}:  # of every other store
        return UsageError(f"{NO_EPISODES}: there is no {name}{_place(told, sql)}.")
    known = "dwell dictionary, for all of them" if kind == "Table" else None
    return UsageError(
        f"There is no {_KINDS.get(kind, kind.lower())} {name}{_place(told, sql)}.",
        try_next=_offered(told) or known,
    )


def _in_its_own_words(told: Told, sql: str) -> UsageError:
    """Pass on the database's sentence, with the names that it offers."""
    sentence, _, more = str(told.get("exception_message", "")).partition("\n")
    sentence = sentence.partition(". ")[0].rstrip(".!")
    offered = re.findall(r'"(\w+)"', more) if "Candidate" in more else []
    return UsageError(
        f"{sentence[:1].upper()}{sentence[1:]}{_place(told, sql)}.",
        try_next=_or(offered) if offered else None,
    )


_SAY: dict[str, Callable[[Told, str], UsageError]] = {
    "SYNTAX_ERROR": _not_sql,
    "COLUMN_NOT_FOUND": _no_column,
    "MISSING_ENTRY": _not_there,
}


def _offered(told: Told) -> str:
    return _or([name for name in str(told.get("candidates", "")).split(",") if name])


def _or(names: list[str]) -> str:
    *first, last = names[:_MOST] or [""]
    return f"{', '.join(first)} or {last}" if first else last


def _word(told: Told, sql: str) -> str | None:
    span = re.fullmatch(r"\[(\d+),(\d+)\]", str(told.get("location")))
    if span is None:
        return None
    start, length = int(span[1]), int(span[2])
    return sql.encode()[start : start + length].decode(errors="ignore") or None


def _place(told: Told, sql: str) -> str:
    """Return where in the query: its line, where there are several, and its character."""
    if "position" not in told:
        return ""
    before = sql.encode()[: int(told["position"])].decode(errors="ignore")
    line, character = before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1
    return f" (line {line}, character {character})"
