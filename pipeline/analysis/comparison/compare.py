"""One measure compared between groups: crude, adjusted and shrunken, never ranked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.comparison import shrinkage
from pipeline.analysis.comparison.case_mix import Expectation, expect
from pipeline.analysis.comparison.pattern_counts import PatternCounts
from pipeline.analysis.rates import multiplicity, power
from pipeline.analysis.rates.rates import Kind, Rates, ascertainment, rates

Floats = NDArray[np.float64]

TOO_FEW = "too few to tell"
SET_ASIDE = "left out of what is expected of others"


@dataclass(frozen=True)
class GroupRow:
    """One group of a comparison; numbers that do not exist are NaN.

    Attributes
    ----------
    group : str
        Its label.
    episodes, with_event : int
        Episodes whose numerator is known, and those of them with an event.
    children, children_with_event : int
        Of both, the first of their child's: at least so many children.
    numerator, denominator, rate, lower, upper : float
        Crude figures, in the measure's unit, with 95% limits.
    expected : float
        Events expected from the other groups, given the case mix; groups far from the
        rest set nobody's standard.
    ratio, ratio_lower, ratio_upper : float
        Observed to expected, with 95% limits of what sets the group apart from an
        ordinary one: they leave out 1 exactly where `p_value` is below 0.05.
    shrunken, shrunken_lower, shrunken_upper : float
        The rate drawn towards the one expected for the group's case mix, with a
        95% interval.
    above_network : float
        Probability that the group's own rate lies above the one the rest of the
        network would have with the same case mix.
    p_value : float
        Of no difference from an ordinary group: see :mod:`ordinary_groups`.
    called : bool
        Called different: see :func:`with_calls`.
    ascertainment : float
        Share of episodes with a known numerator.
    note : str
        What a reader should know of this row; empty where nothing.
    """

    group: str
    episodes: int
    with_event: int
    children: int
    children_with_event: int
    numerator: float
    denominator: float
    rate: float
    lower: float
    upper: float
    expected: float
    ratio: float
    ratio_lower: float
    ratio_upper: float
    shrunken: float
    shrunken_lower: float
    shrunken_upper: float
    above_network: float
    p_value: float
    called: bool
    ascertainment: float
    note: str


@dataclass(frozen=True)
class Comparison:
    """A measure by group, in the order asked for.

    Attributes
    ----------
    by : str
        What is compared.
    network_rate : float
        Rate of all groups together but for those set aside, in the measure's unit.
    spread : float
        Standard deviation between ordinary groups on the log or logit scale.
    expectation : Expectation
        The case-mix model behind `expected`, groups by name.
    rows : tuple of GroupRow
        One a group with a denominator.
    """

    by: str
    kind: Kind
    multiplier: float
    network_rate: float
    spread: float
    expectation: Expectation
    rows: tuple[GroupRow, ...]


def compare(
    counts: PatternCounts,
    *,
    by: str,
    terms: Sequence[str] = (),
    kind: Kind,
    multiplier: float = 100.0,
    min_ascertainment: float = 0.8,
    fewest_aside: int = 0,
    prior: Floats | None = None,
) -> Comparison:
    """Compare the groups of one factor on one measure.

    Nothing is called yet: see :func:`with_calls`.

    Parameters
    ----------
    counts : PatternCounts
        With `by` and `terms` among its factors.
    by : str
        The factor whose groups are compared.
    terms : sequence of str
        Case-mix terms; none for crude expectations.
    kind : {"proportion", "rate"}
        The kind of the measure's denominator.
    multiplier : float
        The measure's unit.
    min_ascertainment : float
        Share of known numerators below which the row says so.
    fewest_aside, prior
        As for :func:`pipeline.analysis.comparison.case_mix.expect`.

    Raises
    ------
    ValueError
        If there are not two groups with a denominator, or a term cannot be
        adjusted for.
    """
    counts = known_groups(counts, by)
    model = expect(counts, by=by, terms=terms, kind=kind, fewest_aside=fewest_aside, prior=prior)
    totals = counts.totals(by)
    crude = rates(totals.numerator, totals.denominator, kind=kind, multiplier=multiplier)
    kept = ~model.is_aside
    overall = float(totals.numerator[kept].sum() / totals.denominator[kept].sum()) * multiplier
    shrunk = shrinkage.shrink(
        model.observed, model.expected, model.denominator, kind=kind, dispersion=model.dispersion
    )
    columns = _columns(crude, model, shrunk, kind=kind, multiplier=multiplier)
    share = ascertainment(totals.episodes, totals.episodes + totals.missing_episodes)
    notes = _notes(model, share, min_ascertainment, kind)
    rows = tuple(
        GroupRow(
            group=group,
            episodes=round(totals.episodes[i]),
            with_event=round(totals.with_event[i]),
            children=round(totals.children[i]),
            children_with_event=round(totals.children_with_event[i]),
            called=False,
            ascertainment=float(share[i]),
            note=notes[i],
            **{name: float(values[i]) for name, values in columns.items()},
        )
        for i, group in enumerate(model.groups)
    )
    return Comparison(by, kind, multiplier, overall, model.judged.spread, model, rows)


def with_calls(
    comparisons: Sequence[Comparison], smallest_ratio: float = 1.0, leads: Sequence[bool] = ()
) -> tuple[Comparison, ...]:
    """Call rows different, judging together what is read together.

    See :func:`pipeline.analysis.multiplicity.called_together`.

    Parameters
    ----------
    comparisons : sequence of Comparison
        All that is read together.
    smallest_ratio : float
        Smallest ratio of observed to expected, in either direction, that is worth a call;
        for a proportion that of the rarer of the event and its absence.
    leads : sequence of bool
        Which comparisons are of the measures that lead.
    """
    p_values = [[r.p_value for r in c.rows] for c in comparisons]
    verdicts = multiplicity.called_together(p_values, leads)
    return tuple(
        replace(
            c,
            rows=tuple(
                _decided(row, bool(v) and not _ratio_of_rarer(row, c.kind) < smallest_ratio)
                for row, v in zip(c.rows, own, strict=True)
            ),
        )
        for c, own in zip(comparisons, verdicts, strict=True)
    )


def _ratio_of_rarer(row: GroupRow, kind: Kind) -> float:
    """Return how many times more or fewer; NaN where nothing is expected."""
    observed, expected = row.numerator, row.expected
    if kind == "proportion" and expected > row.denominator / 2:
        observed, expected = row.denominator - observed, row.denominator - expected
    fewer, more = sorted((observed, expected))
    return more / fewer if fewer > 0 else float("inf") if more > 0 else float("nan")


def _decided(row: GroupRow, called: bool) -> GroupRow:
    if not called:
        return row
    note = "; ".join(part for part in row.note.split("; ") if part not in ("", TOO_FEW))
    return replace(row, called=True, note=note)


def known_groups(counts: PatternCounts, by: str) -> PatternCounts:
    """Leave out groups of which nothing is known."""
    known = counts.totals(by).denominator > 0
    if known.all():
        return counts
    return counts.having(by, [g for g, k in zip(counts.levels[by], known, strict=True) if k])


def _columns(
    crude: Rates,
    model: Expectation,
    shrunk: shrinkage.Shrunken,
    *,
    kind: Kind,
    multiplier: float,
) -> dict[str, Floats]:
    # Without an event elsewhere there is nothing to be a ratio of.
    expected = np.where(model.reference_events > 0, model.expected, np.nan)

    def in_unit(shift: Floats) -> Floats:
        return shrinkage.shifted_rate(expected / model.denominator, shift, kind) * multiplier

    return {
        "numerator": crude.numerator,
        "denominator": crude.denominator,
        "rate": crude.rate,
        "lower": crude.lower,
        "upper": crude.upper,
        "expected": expected,
        "ratio": model.observed / expected,
        "ratio_lower": np.where(np.isnan(expected), np.nan, model.judged.lower),
        "ratio_upper": np.where(np.isnan(expected), np.nan, model.judged.upper),
        "shrunken": in_unit(shrunk.shift),
        "shrunken_lower": in_unit(shrunk.lower),
        "shrunken_upper": in_unit(shrunk.upper),
        "above_network": shrunk.above_network,
        "p_value": model.judged.p_value,
    }


def _notes(model: Expectation, share: Floats, minimum: float, kind: Kind) -> list[str]:
    few = power.too_few_to_tell(
        model.expected, model.denominator, kind=kind, dispersion=model.dispersion
    )
    notes = []
    for i in range(len(model.groups)):
        parts = [TOO_FEW] if few[i] else []
        if model.reference_events[i] == 0:
            parts.append("no events elsewhere")
        if model.is_aside[i]:
            parts.append(SET_ASIDE)
        if share[i] < minimum:
            parts.append(f"numerator known for {share[i]:.0%} of episodes")
        if model.left_out:
            parts.append(f"not adjusted for {', '.join(model.left_out)}: too few events")
        notes.append("; ".join(parts))
    return notes


def in_order(comparison: Comparison, order: str = "name") -> Comparison:
    """Put rows in alphabetical order, or by volume with the largest first.

    There is no order by result, here or anywhere: a league table sorts chance.

    Raises
    ------
    ValueError
        If the order is neither "name" nor "volume".
    """
    if order == "name":
        rows = sorted(comparison.rows, key=lambda row: row.group)
    elif order == "volume":
        rows = sorted(comparison.rows, key=lambda row: (-row.denominator, row.group))
    else:
        raise ValueError("groups are put in order by name or by volume, never by result")
    return replace(comparison, rows=tuple(rows))
