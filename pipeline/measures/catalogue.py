"""The measures: each file of `sql/measures` with its card, read and checked."""

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from pipeline.errors import DwellError, UsageError
from pipeline.records.layout import SYMPTOMS
from pipeline.resources import resource
from pipeline.settings import Settings

DenominatorKind = Literal["proportion", "rate"]

_CARD_LINE = re.compile(r"--\s*(\w+):\s*(.*)")
_UNIT = re.compile(r"per (?:(?P<multiplier>[\d,]+) )?(?P<what>[a-z-]+)")
# What the team cannot choose; a comparison adds surgeon type and site itself.
CASE_MIX = ("age_years", "limb", "nerve_target", "planned_dwell_h")


class MeasureKind(StrEnum):
    """What a measure is for, in the terms of quality improvement."""

    OUTCOME = "outcome"
    PROCESS = "process"
    BALANCING = "balancing"


class Better(StrEnum):
    """Which direction is better."""

    LOWER = "lower"
    HIGHER = "higher"
    NEITHER = "neither"


class Chart(StrEnum):
    """The control chart that fits the measure; limits may be Laney's where over-dispersed."""

    P = "p"
    U = "u"
    G = "g"
    T = "t"


LEADING_PLACES = 4  # measures by place that lead


@dataclass(frozen=True)
class Measure:
    """A measure's card and its select.

    Attributes
    ----------
    name, title : str
        Its name everywhere, and what the report prints.
    kind : Kind
        Outcome, process or balancing.
    numerator, denominator, leaves_out : str
        What is counted, against what, and which episodes are left out, in words.
    unit : str
        Such as "per 100 catheters".
    multiplier : float
        The unit's number: 100 for "per 100", 1 for "per catheter-day".
    better : Better
        Which direction is better.
    target : float or None
        In the unit; the programme's settings override it.
    charts : tuple of Chart
        The first is drawn unless another is asked for.
    follow_up_h : float
        Hours after placement until the numerator is complete.
    reads : tuple of str
        Tables and views that the select reads.
    case_mix : tuple of str
        Columns of `episode_dwell` that an adjusted comparison allows for.
    place : int
        Its place where all measures are listed, the most important first.
    is_safety : bool
        Every case counts: no filter against chance findings holds it back.
    is_told_by_contacts : bool
        Found out by contacts, so that it depends on how many families are reached.
    sql : str
        One row an episode: `episode_id`, `numerator` (null where it could not be
        ascertained), `denominator` (0 where the measure does not apply, null where
        it is not known).
    """

    name: str
    title: str
    kind: MeasureKind
    numerator: str
    denominator: str
    leaves_out: str
    unit: str
    multiplier: float
    better: Better
    target: float | None
    charts: tuple[Chart, ...]
    follow_up_h: float
    reads: tuple[str, ...]
    case_mix: tuple[str, ...]
    place: int
    is_safety: bool
    is_told_by_contacts: bool
    sql: str

    @property
    def leads(self) -> bool:
        """It is one of the few that a reader looks at first."""
        return self.place <= LEADING_PLACES

    @property
    def denominator_kind(self) -> DenominatorKind:
        """Things that have the event or not (proportion), or an exposure (rate)."""
        return "rate" if self.charts[0] in (Chart.U, Chart.T) else "proportion"


class CatalogueError(DwellError):
    """A measure's file does not say what it must: a fault of the installation."""


def load_catalogue(settings: Settings | None = None) -> Mapping[str, Measure]:
    """Read every measure, by name, in the order of their places.

    Parameters
    ----------
    settings : Settings, optional
        What the cards say of local minutes, hours, tiers and ceilings; the defaults
        unless given.

    Raises
    ------
    CatalogueError
        A file's card is incomplete or holds an unknown word.
    """
    return _with_words(tuple(sorted(local_words(settings or Settings()).items())))


def measures_in_force(settings: Settings | None = None) -> list[Measure]:
    """Return the measures that are counted: doses only where a ceiling is set."""
    settings = settings or Settings()
    return [
        measure
        for measure in load_catalogue(settings).values()
        if settings.dose_ceilings or "dose_ceiling" not in measure.reads
    ]


@cache
def _with_words(words: tuple[tuple[str, str], ...]) -> Mapping[str, Measure]:
    paths = sorted(resource("sql", "measures").glob("*.sql"))
    measures = [read_measure(path, dict(words)) for path in paths]
    measures.sort(key=lambda measure: (measure.place, measure.name))
    return MappingProxyType({measure.name: measure for measure in measures})


def local_words(settings: Settings) -> dict[str, str]:
    """Return what stands in the cards in the place of ``{setting}``."""
    tiers = settings.symptom_tiers
    emergency = [SYMPTOMS[name] for name in SYMPTOMS if tiers[name] == "emergency"]
    return {
        "answer_minutes": str(settings.answer_minutes),
        "removal_by_hour": str(settings.removal_by_hour),
        "emergency_symptoms": ", ".join(emergency) or "none is set",
        "dose_ceilings": "; ".join(map(str, settings.dose_ceilings))
        or "none is set, so that nothing is counted",
    }


def find_measure(name: str, settings: Settings | None = None) -> Measure:
    """Return the measure called `name`, its card in the words of the settings.

    Raises
    ------
    UsageError
        There is none of that name; the message names the nearest.
    """
    catalogue = load_catalogue(settings)
    if name in catalogue:
        return catalogue[name]
    near = difflib.get_close_matches(name, catalogue, n=1)
    raise UsageError(
        f"There is no measure {name}.",
        try_next=f"dwell measures {near[0]}" if near else "dwell measures, for the list",
    )


def read_measure(path: Path, words: Mapping[str, str] | None = None) -> Measure:
    """Read one file of `sql/measures`; raises `CatalogueError`."""
    words = local_words(Settings()) if words is None else words
    text = path.read_text(encoding="utf-8")
    try:
        return _measure({k: v.format(**words) for k, v in _card(text).items()}, text)
    except (KeyError, ValueError) as error:
        raise CatalogueError(f"{path.name}: the card is wrong at {error}.") from error


def _card(text: str) -> dict[str, str]:
    """Return the comment block at the top as names and values."""
    card = {}
    for line in text.splitlines():
        if not line.startswith("--"):
            break
        found = _CARD_LINE.fullmatch(line)
        if found is None:
            raise ValueError(f"the line {line!r}")
        card[found[1]] = found[2].strip()
    return card


def _measure(card: dict[str, str], text: str) -> Measure:
    measure = Measure(
        name=card.pop("measure"),
        title=card.pop("title"),
        kind=MeasureKind(card.pop("kind")),
        numerator=card.pop("numerator"),
        denominator=card.pop("denominator"),
        leaves_out=card.pop("leaves_out"),
        multiplier=_multiplier(card["unit"]),
        unit=card.pop("unit"),
        better=Better(card.pop("better")),
        target=_target(card.pop("target")),
        charts=tuple(Chart(chart) for chart in _list(card.pop("chart"))),
        follow_up_h=float(card.pop("follow_up_h")),
        reads=_list(card.pop("reads")),
        case_mix=_list(card.pop("case_mix")),
        place=int(card.pop("place")),
        is_safety=_yes_no(card.pop("safety")),
        is_told_by_contacts=card.pop("told_by") == "contacts",
        sql=text,
    )
    if card:
        raise ValueError(", ".join(card))
    if not set(measure.case_mix) <= set(CASE_MIX):
        raise ValueError("case_mix")
    return measure


def _multiplier(unit: str) -> float:
    found = _UNIT.fullmatch(unit)
    if found is None:
        raise ValueError("unit")
    return float((found["multiplier"] or "1").replace(",", ""))


def _yes_no(text: str) -> bool:
    return {"yes": True, "no": False}[text]


def _target(text: str) -> float | None:
    return None if text == "none" else float(text)


def _list(text: str) -> tuple[str, ...]:
    return tuple(item.strip() for item in text.split(",") if item.strip())
