"""Counts of comparisons entered in a ledger, so that no two tables give one away."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from pipeline.analysis.comparison import Comparison
from pipeline.analysis.pattern_counts import PatternCounts
from pipeline.disclosure import Key, Ledger, Policy, WithheldRows, enter_rows
from pipeline.measures.catalogue import Measure

EVENT, ALL, NONE = "event", "all", "none"


def groups_of(comparison: Comparison) -> list[str]:
    """Return the groups of a comparison's rows."""
    return [row.group for row in comparison.rows]


def is_one_each(measure: Measure, comparison: Comparison) -> bool:
    """Whether each episode counts once, so that those without the event can be read off."""
    return measure.denominator_kind == "proportion" and all(
        row.denominator == row.episodes for row in comparison.rows
    )


def tells_few(policy: Policy, measure: Measure, comparison: Comparison) -> bool:
    """Whether the groups have few events (or few without) together.

    What is expected of any one of them would tell how many.
    """
    events = sum(row.with_event for row in comparison.rows)
    without = sum(row.episodes for row in comparison.rows) - events
    counts = [events, without] if is_one_each(measure, comparison) else [events]
    return bool(policy.is_small(counts).any())


def all_figures(rows: WithheldRows) -> WithheldRows:
    """Withhold the figures of every row."""
    return replace(rows, figures=np.ones_like(rows.figures))


def enter_groups(ledger: Ledger, name: Key, measure: Measure, comparison: Comparison) -> None:
    """Enter the rows of one table by group, the whole network's figure being known."""
    enter_rows(
        ledger,
        name,
        groups_of(comparison),
        with_event=[row.with_event for row in comparison.rows],
        episodes=[row.episodes for row in comparison.rows],
        is_proportion=is_one_each(measure, comparison),
    )
    _enter_reference(ledger, name, comparison)


def _enter_reference(ledger: Ledger, name: Key, comparison: Comparison) -> None:
    """Own up that expected numbers tell what the groups not set aside add up to."""
    model = comparison.expectation
    aside = {g for g, is_aside in zip(model.groups, model.is_aside, strict=True) if is_aside}
    if not aside:
        return
    kept = [row for row in comparison.rows if row.group not in aside]
    for column, total in (
        (EVENT, sum(row.with_event for row in kept)),
        (ALL, sum(row.episodes for row in kept)),
    ):
        ledger.count((name, "reference", column), total, sight="known")
        ledger.adds_up((name, "reference", column), [(name, "", r.group, column) for r in kept])


class Pairs:
    """Groups inside of strata, entered with the tables of either alone.

    The table by group and the table by stratum are made by the same command without the
    other: what they show is known here, and what they withhold must not be told here.
    """

    def __init__(self, ledger: Ledger, by: str, within: str) -> None:
        self._ledger, self._by, self._within = ledger, by, within
        self._tables: list[tuple[Measure, PatternCounts, Mapping[str, Comparison]]] = []
        self._alone = Ledger(ledger.policy)
        self._hidden: frozenset[Key] = frozenset()

    def add(
        self,
        measure: Measure,
        counts: PatternCounts,
        strata: Mapping[str, Comparison],
        alone: Mapping[str, Comparison],
    ) -> None:
        """Add a measure: its counts, the strata shown, and the tables of either factor alone."""
        self._tables.append((measure, counts, strata))
        for factor, comparison in alone.items():
            enter_groups(self._alone, (measure.name, factor), measure, comparison)

    def enter(self) -> None:
        """Enter everything in the ledger."""
        self._hidden = self._alone.withheld()
        for measure, counts, strata in self._tables:
            self._enter(measure, counts, strata)

    def is_withheld_alone(self, measure: Measure, stratum: str) -> bool:
        """Whether a stratum's own count stands in no table."""
        row = ((measure.name, self._within), "", stratum)
        return any((*row, column) in self._hidden for column in (EVENT, NONE, ALL))

    def _enter(
        self,
        measure: Measure,
        counts: PatternCounts,
        strata: Mapping[str, Comparison],
    ) -> None:
        cells = _cells(measure, counts, self._by, self._within)
        for (group, stratum), values in cells.items():
            row = ((measure.name, stratum), "", group)
            for column, value in values.items():
                is_shown = stratum in strata
                self._ledger.count((*row, column), value, sight="shown" if is_shown else "unseen")
            if NONE in values:
                self._ledger.adds_up((*row, ALL), [(*row, EVENT), (*row, NONE)])
        for factor, at in ((self._by, 0), (self._within, 1)):
            for label in counts.levels[factor]:
                self._enter_margin(measure, cells, (factor, at, label))
            self._enter_whole(measure, cells, (factor, at))
        for stratum, comparison in strata.items():
            _enter_reference(self._ledger, (measure.name, stratum), comparison)

    def _enter_margin(
        self,
        measure: Measure,
        cells: Mapping[tuple[str, str], Mapping[str, float]],
        margin: tuple[str, int, str],
    ) -> None:
        """Enter a total that stands in the table of one factor alone, or is withheld there."""
        factor, at, label = margin
        parts = [pair for pair in cells if pair[at] == label]
        for column in cells[parts[0]] if parts else ():
            key = ((measure.name, factor), "", label, column)
            self._ledger.count(
                key,
                sum(cells[pair][column] for pair in parts),
                sight="unseen" if key in self._hidden else "known",
            )
            self._ledger.adds_up(
                key, [((measure.name, stratum), "", group, column) for group, stratum in parts]
            )

    def _enter_whole(
        self,
        measure: Measure,
        cells: Mapping[tuple[str, str], Mapping[str, float]],
        factor: tuple[str, int],
    ) -> None:
        """Enter the whole network's figure, which stands in other tables."""
        name, at = factor
        labels = sorted({pair[at] for pair in cells})
        for column in next(iter(cells.values()), ()):
            whole = (measure.name, "whole", column)
            total = sum(values[column] for values in cells.values())
            self._ledger.count(whole, total, sight="known")
            self._ledger.adds_up(
                whole, [((measure.name, name), "", label, column) for label in labels]
            )


def _cells(
    measure: Measure, counts: PatternCounts, by: str, within: str
) -> dict[tuple[str, str], dict[str, float]]:
    """Return the counts of every pair of a group and a stratum that has episodes."""
    shape = len(counts.levels[by]), len(counts.levels[within])
    pair = counts.codes[by] * shape[1] + counts.codes[within]
    sums = counts.sums.added_by(pair, shape[0] * shape[1])
    columns = {EVENT: sums.with_event, ALL: sums.episodes}
    if measure.denominator_kind == "proportion" and np.all(sums.denominator == sums.episodes):
        columns[NONE] = sums.episodes - sums.with_event
    return {
        (counts.levels[by][k // shape[1]], counts.levels[within][k % shape[1]]): {
            column: float(values[k]) for column, values in columns.items()
        }
        for k in np.flatnonzero(sums.episodes > 0).tolist()
    }
