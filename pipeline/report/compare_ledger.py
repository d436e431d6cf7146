"""Counts of comparisons entered in a ledger, so that no two tables give one away."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipeline.analysis.comparison.compare import Comparison
from pipeline.analysis.comparison.pattern_counts import PatternCounts
from pipeline.disclosure import Key, Ledger, Policy, WithheldRows, enter_rows
from pipeline.measures.catalogue import Measure

Row = tuple[Key, ...]
Tables = Mapping[str, Mapping[str, Comparison]]
# Of every pair of labels and column: episodes, and the least number of children.
Cells = Mapping[tuple[str, str], Mapping[str, tuple[float, float]]]

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
    rows = comparison.rows
    few = policy.is_few(
        sum(row.with_event for row in rows), sum(row.children_with_event for row in rows)
    )
    if is_one_each(measure, comparison):
        few |= policy.is_few(
            sum(row.episodes - row.with_event for row in rows),
            sum(row.children - row.children_with_event for row in rows),
        )
    return bool(few)


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
        children=(
            [row.children_with_event for row in comparison.rows],
            [row.children for row in comparison.rows],
        ),
    )
    _enter_reference(ledger, name, comparison, lambda group: (name, "", group))


def _enter_reference(
    ledger: Ledger, name: Key, comparison: Comparison, row_of: Callable[[str], Row]
) -> None:
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
        whole = (name, "reference", column)
        ledger.count(whole, total, sight="known")
        ledger.adds_up(whole, [(*row_of(row.group), column) for row in kept])


class Pairs:
    """Groups of one factor inside of those of another, with every table that the two make.

    Either factor's own table and both ways of putting one inside of the other are made by
    the same command: what one of them shows is known in all, and what one withholds must
    not be told by another. So all are entered, in an order that does not depend on which
    was asked for, and withhold alike.
    """

    def __init__(self, ledger: Ledger, first: str, second: str) -> None:
        self._ledger = ledger
        self._factors = tuple(sorted([first, second]))
        self._alone = Ledger(ledger.policy)
        self._tables: list[tuple[Measure, PatternCounts, Tables]] = []
        self._hidden: frozenset[Key] = frozenset()

    def add(
        self,
        measure: Measure,
        counts: PatternCounts,
        inside: Tables,
        alone: Mapping[str, Comparison],
    ) -> None:
        """Add a measure's tables.

        Parameters
        ----------
        measure, counts
            The measure, and its counts by both factors.
        inside : mapping of str to mapping of str to Comparison
            For either factor, its groups compared inside of each label of the other.
        alone : mapping of str to Comparison
            Either factor's own table, where there is one.
        """
        self._tables.append((measure, counts, inside))
        for factor, comparison in sorted(alone.items()):
            enter_groups(self._alone, (measure.name, factor), measure, comparison)

    def enter(self) -> None:
        """Enter everything in the ledger."""
        self._hidden = self._alone.withheld()
        for measure, counts, inside in self._tables:
            self._enter(measure, counts, inside)

    def is_withheld_alone(self, measure: Measure, label: str) -> bool:
        """Whether the own count of a label, of either factor, stands in no table."""
        return any(
            ((measure.name, factor), "", label, column) in self._hidden
            for factor in self._factors
            for column in (EVENT, NONE, ALL)
        )

    def withheld(
        self, hidden: frozenset[Key], measure: Measure, by: str, label: str, groups: Sequence[str]
    ) -> WithheldRows:
        """Read the rows of one table off what the ledger withholds."""
        rows = [self._row(measure, by, label)(group) for group in groups]
        episodes = np.array([(*row, ALL) in hidden for row in rows], bool)
        figures = [any((*row, column) in hidden for column in (EVENT, NONE)) for row in rows]
        return WithheldRows(np.array(figures, bool) | episodes, episodes)

    def _row(self, measure: Measure, by: str, label: str) -> Callable[[str], Row]:
        """Name a group's row inside of a label of the other factor."""
        if by == self._factors[0]:
            return lambda group: (measure.name, group, label)
        return lambda group: (measure.name, label, group)

    def _enter(self, measure: Measure, counts: PatternCounts, inside: Tables) -> None:
        cells = _cells(measure, counts, *self._factors)
        first, second = self._factors
        for (one, other), values in cells.items():
            is_shown = other in inside.get(first, {}) or one in inside.get(second, {})
            row = (measure.name, one, other)
            for column, (value, children) in values.items():
                self._ledger.count(
                    (*row, column),
                    value,
                    sight="shown" if is_shown else "unseen",
                    is_secret=bool(self._ledger.policy.is_few(value, children)),
                )
            if NONE in values:
                self._ledger.adds_up((*row, ALL), [(*row, EVENT), (*row, NONE)])
        for at, factor in enumerate(self._factors):
            labels = sorted({pair[at] for pair in cells})
            for label in labels:
                parts = {pair: values for pair, values in cells.items() if pair[at] == label}
                self._enter_total(measure, factor, label, parts)
            self._enter_whole(measure, factor, labels, cells)
        for factor, strata in sorted(inside.items()):
            for label, comparison in strata.items():
                name = (measure.name, factor, label)
                _enter_reference(self._ledger, name, comparison, self._row(measure, factor, label))

    def _enter_total(self, measure: Measure, factor: str, label: str, parts: Cells) -> None:
        """Enter a total that stands in the table of one factor alone, or is withheld there."""
        for column in next(iter(parts.values())):
            key = ((measure.name, factor), "", label, column)
            count, children = (sum(values[column][k] for values in parts.values()) for k in (0, 1))
            self._ledger.count(
                key,
                count,
                sight="unseen" if key in self._hidden else "known",
                is_secret=bool(self._ledger.policy.is_few(count, children)),
            )
            self._ledger.adds_up(key, [(measure.name, *pair, column) for pair in parts])

    def _enter_whole(
        self, measure: Measure, factor: str, labels: Sequence[str], cells: Cells
    ) -> None:
        """Enter the whole network's figure, which stands in other tables."""
        for column in next(iter(cells.values()), ()):
            whole = (measure.name, "whole", column)
            total = sum(values[column][0] for values in cells.values())
            self._ledger.count(whole, total, sight="known")
            self._ledger.adds_up(
                whole, [((measure.name, factor), "", label, column) for label in labels]
            )


def _cells(measure: Measure, counts: PatternCounts, first: str, second: str) -> Cells:
    """Return the counts of every pair of labels that has episodes."""
    shape = len(counts.levels[first]), len(counts.levels[second])
    pair = counts.codes[first] * shape[1] + counts.codes[second]
    sums = counts.sums.added_by(pair, shape[0] * shape[1])
    columns = {
        EVENT: (sums.with_event, sums.children_with_event),
        ALL: (sums.episodes, sums.children),
    }
    if measure.denominator_kind == "proportion" and np.all(sums.denominator == sums.episodes):
        columns[NONE] = (
            sums.episodes - sums.with_event,
            sums.children - sums.children_with_event,
        )
    return {
        (counts.levels[first][k // shape[1]], counts.levels[second][k % shape[1]]): {
            column: (float(values[k]), float(children[k]))
            for column, (values, children) in columns.items()
        }
        for k in np.flatnonzero(sums.episodes > 0).tolist()
    }
