"""Counts completed with imputed numerators and case-mix terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np

from pipeline.analysis.comparison.pattern_counts import (
    NOT_RECORDED,
    Floats,
    Ints,
    PatternCounts,
    Sums,
    added,
)


def completed(counts: PatternCounts, drawn: Floats) -> PatternCounts:
    """Add imputed events of the missing to the counts, as if they had been known."""
    sums = counts.sums
    each = sums.missing_denominator / np.maximum(sums.missing_episodes, 1.0)
    return replace(
        counts,
        sums=replace(
            sums,
            episodes=sums.episodes + sums.missing_episodes,
            with_event=sums.with_event + np.minimum(drawn, sums.missing_episodes),
            missing_episodes=np.zeros_like(drawn),
            missing_denominator=np.zeros_like(drawn),
            numerator=sums.numerator + drawn,
            denominator=sums.denominator + sums.missing_denominator,
            numerator_squared=sums.numerator_squared + drawn,
            cross_product=sums.cross_product + drawn * each,
            denominator_squared=sums.denominator_squared + sums.missing_denominator * each,
        ),
    )


def with_terms(
    counts: PatternCounts, terms: Sequence[str], rng: np.random.Generator
) -> PatternCounts:
    """Draw the case-mix terms that were not recorded.

    Episodes without a term take the labels of donors: episodes alike in everything else and
    in their outcome, or where there are none any episodes. The shares of the labels are
    drawn first, so that what is imputed is as uncertain as the donors are few.

    References
    ----------
    Rubin and Schenker 1986, J Am Stat Assoc 81:366-374, the approximate Bayesian bootstrap
    (recalled, not retrieved).
    """
    absent = [t for t in terms if NOT_RECORDED in counts.levels[t] and len(counts.levels[t]) > 2]
    if not absent:
        return counts
    counts, outcome = _by_outcome(counts)
    for term in absent:
        counts, outcome = _with_term(counts, outcome, term, rng)
    for term in absent:
        counts = counts.having(term, [one for one in counts.levels[term] if one != NOT_RECORDED])
    return counts


def _by_outcome(counts: PatternCounts) -> tuple[PatternCounts, Ints]:
    """Part rows into those with an event, without, and not known, where episodes are trials."""
    s = counts.sums
    rows = np.arange(s.episodes.size)
    if not (
        np.array_equal(s.denominator, s.episodes) and np.array_equal(s.numerator, s.with_event)
    ):
        return counts, np.zeros_like(rows)
    none = np.zeros_like(s.episodes)
    with_event = Sums(
        s.with_event, s.with_event, s.children_with_event, s.children_with_event, none, none,
        s.numerator, s.with_event, s.numerator, s.numerator, s.with_event,
    )  # fmt: skip
    without = s.episodes - s.with_event
    children = s.children - s.children_with_event
    event_free = Sums(without, none, children, none, none, none, none, without, none, none, without)
    unknown = Sums(
        none, none, none, none, s.missing_episodes, s.missing_denominator, none, none, none,
        none, none,
    )  # fmt: skip
    parts = (with_event, event_free, unknown)
    sums = Sums(
        **{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Sums)}
    )
    kept = np.flatnonzero(sums.episodes + sums.missing_episodes > 0)
    codes = {name: np.tile(code, 3)[kept] for name, code in counts.codes.items()}
    return PatternCounts(counts.levels, codes, sums.at(kept)), np.repeat([0, 1, 2], rows.size)[kept]


def _with_term(
    counts: PatternCounts, outcome: Ints, term: str, rng: np.random.Generator
) -> tuple[PatternCounts, Ints]:
    """Part each row without a term into rows with the labels drawn for its episodes."""
    code, absent = counts.codes[term], counts.levels[term].index(NOT_RECORDED)
    others = [outcome, *(counts.codes[name] for name in counts.codes if name != term)]
    weight = counts.sums.episodes + counts.sums.missing_episodes
    stay = np.flatnonzero(code != absent)
    rows, labels, shares = [stay], [code[stay]], [np.ones(stay.size)]
    for row in np.flatnonzero(code == absent):
        alike = np.logical_and.reduce([code != absent, *(o == o[row] for o in others)])
        donors = alike if alike.any() else code != absent
        label, size = _labels(code[donors], weight[donors], round(weight[row]), rng)
        rows.append(np.full(label.size, row))
        labels.append(label)
        shares.append(size / weight[row])
    at, share = np.concatenate(rows), np.concatenate(shares)
    kept = counts.sums.at(at)
    sums = Sums(**{f.name: getattr(kept, f.name) * share for f in fields(Sums)})
    codes = {name: values[at] for name, values in counts.codes.items()}
    return replace(counts, codes={**codes, term: np.concatenate(labels)}, sums=sums), outcome[at]


def _labels(code: Ints, weight: Floats, size: int, rng: np.random.Generator) -> tuple[Ints, Ints]:
    """Draw labels for `size` episodes, as frequent as among the donors; return label and count."""
    known, place = np.unique(code, return_inverse=True)
    drawn = rng.multinomial(size, rng.dirichlet(added(weight, place, known.size)))
    return known[drawn > 0], drawn[drawn > 0]
