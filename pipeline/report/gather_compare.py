"""Measures compared between groups, from the store to what may be shown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.analysis.comparison.compare import Comparison, compare, in_order, with_calls
from pipeline.analysis.comparison.pattern_counts import Cells, PatternCounts
from pipeline.disclosure import Ledger, Policy, WithheldRows, rows_withheld
from pipeline.errors import NoDataError, UsageError
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import COMPARED_BY, case_mix_terms, is_same
from pipeline.measures.patterns import pattern_frames
from pipeline.measures.periods import last_final_month
from pipeline.report.compare_ledger import Pairs, all_figures, enter_groups, groups_of, tells_few
from pipeline.settings import Settings
from pipeline.store import Store

EARLIEST = "0000-01"


@dataclass(frozen=True)
class MeasureComparison:
    """One measure by group, called against all that is read with it.

    Attributes
    ----------
    measure : Measure
        Its card.
    within : str
        The stratum that the groups are compared in; empty without strata.
    comparison : Comparison
        All figures; those of withheld rows are not for showing.
    withheld : WithheldRows
        In the order of `comparison.rows`.
    """

    measure: Measure
    within: str
    comparison: Comparison
    withheld: WithheldRows


def compare_measures(
    store: Store,
    measures: Sequence[Measure],
    *,
    by: str,
    within: str | None = None,
    months: tuple[str, str] | None = None,
    adjust: bool = True,
    order: str = "name",
    policy: Policy,
    settings: Settings,
) -> list[MeasureComparison]:
    """Compare groups on several measures, over months that are final.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
        What to compare; all of them are one family of calls.
    by, within : str
        What makes the groups (a name of `COMPARED_BY`), and what they are
        compared inside of, such as sites within each surgeon type.
    months : tuple of str, optional
        First and last month of placement; provisional ones are left out.
    adjust : bool
        Whether expected numbers allow for case mix.
    order : {"name", "volume"}
        Never by result.
    policy : Policy
        What may be shown.
    settings : Settings
        The programme's settings.

    Returns
    -------
    list of MeasureComparison
        A measure (or stratum of it) in which no two groups have a denominator is
        left out.

    Raises
    ------
    UsageError
        `by` or `within` is unknown, or both are the same.
    NoDataError
        There is nothing to compare.
    """
    _check(by, within)
    final = final_months(store, measures, months)
    asked = _Asked(tuple(filter(None, [by, within])), adjust, settings)
    ledger = Ledger(policy)
    pairs = None if within is None else Pairs(ledger, by, within)
    found: list[tuple[Measure, str, Comparison]] = []
    factors = _factors(measures, asked)
    for measure, counts in counted(store, measures, factors, months=final, settings=settings):
        made = asked.inside(measure, counts, by)
        found += [(measure, label, in_order(each, order)) for label, each in made.items()]
        if pairs is None:
            for label, each in made.items():
                enter_groups(ledger, (measure.name, label), measure, each)
        elif made:
            turned = asked.inside(measure, counts, asked.factors[1])
            inside = {by: made, asked.factors[1]: turned}
            pairs.add(measure, counts, inside, asked.alone(measure, counts))
    if not found:
        raise NoDataError("There are no two groups to compare.", try_next="dwell status")
    return _shown(found, by, ledger, pairs)


@dataclass(frozen=True)
class _Asked:
    """What is compared, and how: one factor's groups, or those inside of another's."""

    factors: tuple[str, ...]
    adjust: bool
    settings: Settings

    def inside(self, measure: Measure, counts: PatternCounts, by: str) -> dict[str, Comparison]:
        """Compare a factor's groups inside of each label of the other; "" without one."""
        others = [factor for factor in self.factors if factor != by]
        parts = _strata(counts, by, others[0] if others else None)
        return {label: self._compared(measure, part, by, *others) for label, part in parts}

    def alone(self, measure: Measure, counts: PatternCounts) -> dict[str, Comparison]:
        """Compare the groups of either factor by itself, where it has two."""
        return {
            by: self._compared(measure, counts, by)
            for by in self.factors
            if (counts.totals(by).denominator > 0).sum() > 1
        }

    def terms(self, measure: Measure, *groupings: str) -> tuple[str, ...]:
        return case_mix_terms(measure, *groupings) if self.adjust else ()

    def _compared(
        self, measure: Measure, counts: PatternCounts, by: str, *given: str
    ) -> Comparison:
        return compare(
            counts,
            by=by,
            terms=self.terms(measure, by, *given),
            kind=measure.denominator_kind,
            multiplier=measure.multiplier,
            min_ascertainment=self.settings.min_ascertainment,
            fewest_aside=self.settings.small_cell,
        )


def _shown(
    found: Sequence[tuple[Measure, str, Comparison]],
    by: str,
    ledger: Ledger,
    pairs: Pairs | None,
) -> list[MeasureComparison]:
    """Call what differs, over all that is found, and say what is withheld."""
    called = with_calls([comparison for _, _, comparison in found])
    if pairs is not None:
        pairs.enter()
    hidden = ledger.withheld()
    results = []
    for (measure, label, _), done in zip(found, called, strict=True):
        groups = groups_of(done)
        is_told = tells_few(ledger.policy, measure, done)
        if pairs is None:
            rows = rows_withheld(hidden, (measure.name, label), groups)
        else:
            rows = pairs.withheld(hidden, measure, by, label, groups)
            is_told |= pairs.is_withheld_alone(measure, label)
        rows = all_figures(rows) if is_told else rows
        results.append(MeasureComparison(measure, label, done, rows))
    return results


def final_months(
    store: Store, measures: Sequence[Measure], months: tuple[str, str] | None
) -> tuple[str, str]:
    """Keep the months in which every measure has had its follow-up time.

    Raises
    ------
    NoDataError
        None is left.
    """
    first, last = months or (EARLIEST, "9999-12")
    final = last_final_month(store.as_of(), max(m.follow_up_h for m in measures))
    if final < first:
        raise NoDataError(
            f"From {first} on every month is still provisional.", try_next=f"--to {final}"
        )
    return first, min(last, final)


def _check(by: str, within: str | None) -> None:
    for name in filter(None, [by, within]):
        if name not in COMPARED_BY:
            raise UsageError(
                f"Groups cannot be compared by {name}.", try_next=f"one of {', '.join(COMPARED_BY)}"
            )
    if within is not None and is_same(by, within):
        raise UsageError(
            f"{by} within each {within} is the same thing twice.",
            try_next="--by site,surgeon_type",
        )


def _factors(measures: Sequence[Measure], asked: _Asked) -> list[str]:
    """Return what is counted by: what either factor alone is adjusted for serves both."""
    terms = [
        term for measure in measures for by in asked.factors for term in asked.terms(measure, by)
    ]
    return list(dict.fromkeys([*asked.factors, *terms]))


def counted(
    store: Store,
    measures: Sequence[Measure],
    factors: Sequence[str],
    *,
    months: tuple[str, str],
    settings: Settings,
    **chosen: Any,
) -> Iterator[tuple[Measure, PatternCounts]]:
    """Yield each measure with its counts by some factors; `chosen` as for `pattern_frames`."""
    frames = pattern_frames(store, measures, factors, months=months, settings=settings, **chosen)
    cells = Cells.from_frame(frames.cells, factors)
    for measure, frame in frames.measures:
        yield measure, cells.counts(frame["cell"].to_numpy().astype(np.int64), frame)


def _strata(
    counts: PatternCounts, by: str, within: str | None
) -> Iterator[tuple[str, PatternCounts]]:
    """Yield what has two groups to compare."""
    labels = [""] if within is None else counts.levels[within]
    for label in labels:
        part = counts if within is None else counts.where(within, label)
        if (part.totals(by).denominator > 0).sum() >= 2:
            yield label, part
