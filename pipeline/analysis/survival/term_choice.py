"""Which terms of a model the data can carry, and what was left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import polars as pl

from pipeline.analysis.survival.terms import (
    EVENTS_PER_COEFFICIENT,
    Coding,
    aliased,
    as_text,
    code_terms,
    design,
)

REASON, NUMBER, EVENTS = "reason", "n", "events"

Why = Literal[
    "no_event",  # a term that no catheter removed for the reason has recorded
    "constant",  # a term that does not vary among the catheters analysed
    "one_level",  # a term of which one level alone has a removal for the reason
    "told_before",  # a term, or a level, that follows from the terms before it
    "few_events",  # a term that would leave fewer than 10 removals to a coefficient
    "level_without_event",  # a level without a removal for the reason
    "not_estimable",  # the whole model; `message` says why
]


@dataclass(frozen=True)
class LeftOut:
    """A term, or a level of one, that is not in the model, and why.

    Where events are too few, there are `events`, and the model would have `wanted`
    coefficients.
    """

    term: str
    level: str | None
    why: Why
    events: int = 0
    wanted: int = 0
    message: str = ""


@dataclass
class TermChoice:
    """Patterns that stay, with episodes and removals for the reason, and the terms."""

    patterns: pl.DataFrame
    terms: list[str]
    left_out: list[LeftOut]


def patterns_of(rows: pl.DataFrame, terms: list[str], reason: str) -> pl.DataFrame:
    """Count episodes and removals for the reason by covariate pattern."""
    of_reason = pl.col(NUMBER).filter(pl.col(REASON).eq_missing(pl.lit(reason))).sum()
    return rows.group_by(terms).agg(pl.col(NUMBER).sum(), of_reason.alias(EVENTS)).sort(terms)


def choose_terms(patterns: pl.DataFrame, terms: list[str]) -> TermChoice:
    """Take terms in order while the data can carry them."""
    kept: list[str] = []
    left_out: list[LeftOut] = []
    for term in terms:
        left = _cannot(_with_levels_seen(patterns, [*kept, term]), term)
        if left is None:
            kept.append(term)
        else:
            left_out.append(left)
    final = _with_levels_seen(patterns, kept)
    return TermChoice(final.patterns, kept, [*left_out, *final.left_out])


def _with_levels_seen(patterns: pl.DataFrame, terms: list[str]) -> TermChoice:
    """Complete cases, without the levels that have no removal for the reason."""
    left: list[LeftOut] = []
    kept = patterns.drop_nulls(terms)
    if terms:
        kept = kept.group_by(terms).agg(pl.col(NUMBER).sum(), pl.col(EVENTS).sum()).sort(terms)
    changed = True
    while changed:
        changed = False
        for term in terms:
            if kept[term].dtype.is_numeric():
                continue
            text = as_text(kept[term])
            seen = set(text.filter(kept[EVENTS] > 0).to_list())
            for level in sorted(set(text.to_list()) - seen):
                left.append(LeftOut(term, level, "level_without_event"))
                changed = True
            kept = kept.filter(text.is_in(sorted(seen)))
    return TermChoice(kept, terms, left)


def _cannot(candidate: TermChoice, term: str) -> LeftOut | None:
    """Say why the last term of a candidate cannot be fitted, None where it can."""
    events = int(candidate.patterns[EVENTS].sum())
    if events == 0:
        return LeftOut(term, None, "no_event")
    made = design(candidate.patterns, code_terms(candidate.patterns, candidate.terms))
    alias = set(aliased(made.matrix))
    own = [i for i, column in enumerate(made.columns) if column.term == term]
    if not own or np.ptp(made.matrix[:, own], axis=0).max(initial=0) == 0:
        others = any(left.term == term for left in candidate.left_out)
        return LeftOut(term, None, "one_level" if others else "constant")
    if set(own) <= alias:
        return LeftOut(term, None, "told_before")
    wanted = len(made.columns) - len(alias)
    if wanted > events // EVENTS_PER_COEFFICIENT:
        return LeftOut(term, None, "few_events", events, wanted)
    return None


def without_aliases(
    patterns: pl.DataFrame, codings: Sequence[Coding]
) -> tuple[tuple[Coding, ...], list[LeftOut]]:
    """Merge with their reference the levels that the terms before them already tell."""
    made = design(patterns, codings)
    alias = [made.columns[i] for i in aliased(made.matrix)]
    merged = {c.term: frozenset(x.level for x in alias if x.term == c.term) for c in codings}
    kept = tuple(
        replace(c, merged=frozenset(level for level in merged[c.term] if level is not None))
        for c in codings
    )
    return kept, [LeftOut(x.term, x.level, "told_before") for x in alias]
