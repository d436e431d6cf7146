"""The comparison's first screen: what is compared, and three lists of sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from pipeline.answers.comparison import ComparedGroups
from pipeline.measures.catalogue import Measure
from pipeline.report import markdown
from pipeline.report.compare_section import (
    anchor,
    differences,
    is_too_few,
    none_differs,
    to_look_into,
)
from pipeline.report.front import BANNER, Facts
from pipeline.report.markdown import bullets
from pipeline.report.narrative import MAX_IN_A_LIST, shortened
from pipeline.report.numbers import Sentence
from pipeline.report.page import block, side_by_side
from pipeline.words import numbers as words


def strip(compared: ComparedGroups, facts: Facts) -> str:
    """Return what is compared as a list of a few words each, and whether it is confidential."""
    first, last = (words.month(month) for month in compared.months)
    pairs = (
        (f"{first} to {last}", markdown.text(facts.network)),
        (f"{len(compared.groups):,}", compared.nouns),
        (f"{len(compared.results):,}", "measures"),
    )
    found = block("facts", bullets([f"**{number}** {what}" for number, what in pairs]))
    return f"{found}\n\n{BANNER}"


def comparison_source(facts: Facts) -> str:
    """Return what the figures are made from."""
    note = (
        f"Records as of {facts.as_of}, data fingerprint `{facts.fingerprint}`. Groups stand in "
        "the order of their names; nothing here is a ranking. A difference is an association."
    )
    return block("note", note)


def lists(
    differs: Sequence[Sentence], decide: Sequence[Sentence], unknown: Sequence[Sentence]
) -> str:
    """Return the three lists, side by side where there is room."""
    return side_by_side(
        ("What differs", "what-differs", differs),
        ("What to decide", "what-to-decide", decide),
        ("What we cannot tell", "what-we-cannot-tell", unknown),
    )


def what_differs(compared: ComparedGroups) -> list[Sentence]:
    """Return which groups differ by more than chance given the case mix, the worse first."""
    return shortened(differences(compared), "further difference") or [none_differs(compared)]


def groups_to_decide(compared: ComparedGroups) -> list[Sentence]:
    """Return what needs a decision: each group with what is called for the worse."""
    found = [replace(one, anchor=_page_of(compared, one)) for one in to_look_into(compared)]
    nothing = Sentence("Nothing in these figures asks for a decision.")
    return shortened(found, "further matter") or [nothing]


def _page_of(compared: ComparedGroups, decision: Sentence) -> str:
    return next(anchor(g) for g in compared.groups if compared.label(g) == decision.subject)


def groups_untold(compared: ComparedGroups) -> list[Sentence]:
    """Return what the figures cannot tell: measures with too few events."""
    return list(_too_few(compared)) or [Sentence("Every measure has the figures it needs.")]


def _too_few(compared: ComparedGroups) -> Iterator[Sentence]:
    everywhere: list[Measure] = []
    somewhere: list[Measure] = []
    for result in compared.results:
        few = [is_too_few(row) for row in result.rows]
        if any(few):
            (everywhere if all(few) else somewhere).append(result.measure)
    groups = compared.nouns
    if everywhere:
        yield Sentence(f"Too few events to tell any {groups} apart: {_titles(everywhere)}.")
    if somewhere:
        yield Sentence(f"Too few events in some {groups}: {_titles(somewhere)}.")


def _titles(measures: Sequence[Measure]) -> str:
    """Name measures; of many only the number, since the table below marks them."""
    if len(measures) > MAX_IN_A_LIST:
        return f"{words.count(len(measures), 'measure')}, marked in the table below"
    return words.joined([words.lower_first(measure.title) for measure in measures])
