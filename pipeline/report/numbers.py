"""`numbers.json`: every figure that a report prints, and where each sentence has its own.

The file holds no clock time, so the same records give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

from pipeline.resources import resource
from pipeline.words.desk import CONFIDENTIAL
from pipeline.words.numbers import json_number

FILE = "numbers.json"
SCHEMA = "numbers.schema.json"
LAYOUT = 2  # goes up when a script that reads the file would have to change


@dataclass(frozen=True, slots=True)
class Number:
    """One printed figure.

    Attributes
    ----------
    id : str
        Unique in a report, parts separated by slashes, such as
        `leakage/2025-Q4`.
    value : float or None
        The figure in its unit; None where it cannot be told.
    unit : str
        What `value`, `lower` and `upper` are in.
    numerator, denominator : float, optional
        What a rate is made of.
    lower, upper : float, optional
        95% limits, or control limits where the id says `chart`.
    episodes, ascertained : int, optional
        Episodes that the measure applies to, and those of known numerator.
    provisional : bool
        Not every episode has had its follow-up time.
    """

    id: str
    value: float | None
    unit: str
    numerator: float | None = None
    denominator: float | None = None
    lower: float | None = None
    upper: float | None = None
    episodes: int | None = None
    ascertained: int | None = None
    provisional: bool = False


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence made from figures.

    Attributes
    ----------
    text : str
        The sentence, plain.
    numbers : tuple of str
        Ids of the figures it is made from; all that it quotes is among them.
    subject : str
        What it is about, printed before it; empty where the text says it.
    anchor : str
        Where in the report the evidence is; empty where there is none.
    """

    text: str
    numbers: tuple[str, ...] = ()
    subject: str = ""
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class Ledger:
    """All figures and sentences of a report, with what they were made from."""

    report: str
    period: str
    fingerprint: str
    as_of: str
    version: str
    confidential: str = CONFIDENTIAL
    numbers: tuple[Number, ...] = ()
    sentences: tuple[Sentence, ...] = ()
    figures: tuple[str, ...] = field(default=())

    def write(self, path: Path) -> None:
        """Write the ledger as JSON.

        Raises
        ------
        ValueError
            If two figures have one id, or a sentence names one that is not there.
        """
        check(self.numbers, self.sentences)
        path.write_text(
            json.dumps(_document(self), indent=1, ensure_ascii=False, allow_nan=False) + "\n",
            encoding="utf-8",
        )


def check(numbers: Iterable[Number], sentences: Iterable[Sentence]) -> None:
    """Refuse figures of one id, and sentences that name an absent figure.

    Raises
    ------
    ValueError
        Naming the id.
    """
    known: set[str] = set()
    for number in numbers:
        if number.id in known:
            raise ValueError(f"two figures are called {number.id}")
        known.add(number.id)
    for sentence in sentences:
        missing = [name for name in sentence.numbers if name not in known]
        if missing:
            raise ValueError(f"a sentence names {missing[0]}, which is not among the figures")


def schema() -> dict[str, Any]:
    """Return the JSON Schema that `numbers.json` follows."""
    loaded: dict[str, Any] = json.loads(resource("reports", SCHEMA).read_text(encoding="utf-8"))
    return loaded


def _document(ledger: Ledger) -> dict[str, Any]:
    head = {
        f.name: getattr(ledger, f.name)
        for f in fields(ledger)
        if f.name not in ("numbers", "sentences", "figures")
    }
    return {
        "layout": LAYOUT,
        **head,
        "numbers": [_row(number) for number in ledger.numbers],
        "sentences": [asdict(sentence) for sentence in ledger.sentences],
        "figures": list(ledger.figures),
    }


def _row(number: Number) -> dict[str, Any]:
    """Return a figure with whole numbers written whole and what is unknown as null."""
    return {name: _plain(value) for name, value in asdict(number).items()}


def _plain(value: Any) -> Any:
    if not isinstance(value, float):
        return value
    if json_number(value) is None:
        return None
    # Ten significant digits: the last bits may differ between processors.
    rounded = float(f"{value:.10g}")
    return int(rounded) if rounded.is_integer() and abs(rounded) < 2**53 else rounded
