"""Measures compared between groups, over months that are final; never ranked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from pipeline.analysis.comparison.compare import (
    Comparison,
    GroupRow,
    compare,
    in_order,
    with_calls,
)
from pipeline.analysis.comparison.ordinary_groups import spread_prior
from pipeline.analysis.comparison.pattern_counts import Floats, PatternCounts
from pipeline.answers.grouped_counts import group_spreads, no_two_groups, pattern_counts
from pipeline.errors import UsageError
from pipeline.measures.catalogue import Better, Measure
from pipeline.measures.dimensions import (
    COMPARED_BY,
    DIMENSIONS,
    case_mix_terms,
    group_labels,
    is_same,
)
from pipeline.measures.patterns import final_months
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

    from pipeline.figures.look import Drawing

FIGURES = (
    "rate", "lower", "upper", "expected", "ratio", "ratio_lower", "ratio_upper",
    "shrunken", "shrunken_lower", "shrunken_upper", "above_network",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class MeasureComparison:
    """One measure by group, called against all that is read with it.

    `within` is the stratum that the groups are compared in; empty without strata.
    """

    measure: Measure
    within: str
    comparison: Comparison

    @property
    def rows(self) -> tuple[GroupRow, ...]:
        """A row a group, in the order asked for."""
        return self.comparison.rows

    def is_worse(self, row: GroupRow) -> bool:
        """Whether a group's ratio lies on the worse side of one for this measure."""
        return self.measure.better is (Better.LOWER if row.ratio > 1 else Better.HIGHER)


@dataclass(frozen=True, eq=False)
class ComparedGroups:
    """Some measures by one grouping.

    Attributes
    ----------
    by : str
        What makes the groups, a name of `COMPARED_BY`.
    months : tuple of str
        First and last month compared.
    results : tuple of MeasureComparison
        One a measure, or a measure and stratum, in which two groups have a denominator.
    labels : mapping of str to str
        What is printed for a group, where the store holds a label.
    """

    by: str
    months: tuple[str, str]
    results: tuple[MeasureComparison, ...]
    labels: Mapping[str, str]

    @property
    def noun(self) -> str:
        """What a group is called, such as "surgeon type"."""
        return DIMENSIONS[self.by].title

    @property
    def nouns(self) -> str:
        """What several groups are called."""
        return DIMENSIONS[self.by].plural

    @cached_property
    def groups(self) -> list[str]:
        """Codes of all groups, by what is printed for them."""
        return sorted({row.group for result in self.results for row in result.rows}, key=self.label)

    def label(self, group: str) -> str:
        """Return what is printed for a group."""
        from pipeline.words.codes import words_of
        from pipeline.words.numbers import sentence_case

        return self.labels.get(group, sentence_case(words_of(group)))

    @cached_property
    def called(self) -> list[tuple[MeasureComparison, GroupRow]]:
        """The groups called different, measure by measure."""
        return [(result, row) for result in self.results for row in result.rows if row.called]

    def as_json(self) -> list[dict[str, Any]]:
        """Return a mapping a measure and group; null for what is not known."""
        return [row for result in self.results for row in _rows(result)]

    def frame(self) -> pl.DataFrame:
        """Return a row a measure and group, with the columns of `as_json`."""
        import polars as pl

        return pl.DataFrame(self.as_json(), infer_schema_length=None)

    def figure(self) -> Drawing | None:
        """Return the first measure's ratios drawn; None where no two groups have one."""
        return self.figures().get((self.results[0].measure.name, "", "ratios"))

    def figures(self) -> dict[tuple[str, str, str], Drawing]:
        """Return every drawing by measure, stratum and kind: funnel, ratios, calibration."""
        from pipeline.figures.funnel import funnel_figure
        from pipeline.figures.ratios import calibration_figure, ratio_figure

        found = {}
        for result in self.results:
            comparison, measure = result.comparison, _inside(result)
            labels = {group: self.label(group) for group in self.groups}
            for kind, drawing in (
                ("funnel", funnel_figure(comparison, measure, labels=labels)),
                ("ratios", ratio_figure(comparison, measure, labels=labels)),
                ("calibration", calibration_figure(comparison, measure)),
            ):
                if drawing is not None:
                    found[result.measure.name, result.within, kind] = drawing
        return found


def compare_groups(
    store: Store,
    measures: Sequence[Measure],
    *,
    by: str = "site",
    within: str | None = None,
    months: tuple[str, str] | None = None,
    adjust: bool = True,
    order: str = "name",
    settings: Settings | None = None,
) -> ComparedGroups:
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
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    UsageError
        `by` or `within` is unknown, or both are the same.
    NoDataError
        There is nothing to compare.
    """
    _check(by, within)
    settings = settings or Settings()
    final = final_months(store, measures, months)
    given = [] if within is None else [within]
    terms = {
        measure.name: case_mix_terms(measure, by, *given) if adjust else () for measure in measures
    }
    factors = [by, *given, *(term for those in terms.values() for term in those)]
    counts = pattern_counts(
        store, measures, dict.fromkeys(factors), months=final, settings=settings
    )
    spreads = group_spreads(store, measures, by, months=final, settings=settings)
    found = [
        MeasureComparison(measure, label, in_order(compared, order))
        for measure, sums in counts
        for prior in [spread_prior([own for name, own in spreads.items() if name != measure.name])]
        for label, part in _strata(sums, by, within)
        for compared in [
            _compared(part, measure, by, terms[measure.name], settings=settings, prior=prior)
        ]
    ]
    if not found:
        raise no_two_groups()
    called = with_calls(
        [result.comparison for result in found],
        settings.smallest_ratio,
        [result.measure.leads for result in found],
    )
    results = tuple(
        replace(result, comparison=done) for result, done in zip(found, called, strict=True)
    )
    return ComparedGroups(by, final, results, group_labels(store, by))


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


def _compared(
    counts: PatternCounts,
    measure: Measure,
    by: str,
    terms: Sequence[str],
    *,
    settings: Settings,
    prior: Floats,
) -> Comparison:
    return compare(
        counts,
        by=by,
        terms=terms,
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
        min_ascertainment=settings.min_ascertainment,
        fewest_aside=settings.small_cell,
        prior=prior,
    )


def _strata(
    counts: PatternCounts, by: str, within: str | None
) -> Iterator[tuple[str, PatternCounts]]:
    """Yield what has two groups to compare."""
    labels = [""] if within is None else counts.levels[within]
    for label in labels:
        part = counts if within is None else counts.where(within, label)
        if (part.totals(by).denominator > 0).sum() >= 2:
            yield label, part


def _inside(result: MeasureComparison) -> Measure:
    """Let the title of a stratum's measure name the stratum."""
    if not result.within:
        return result.measure
    stratum = result.within.replace("_", " ")
    return replace(result.measure, title=f"{result.measure.title} ({stratum})")


def _rows(result: MeasureComparison) -> Iterator[dict[str, Any]]:
    """Yield one row a group; a group inside of a stratum is named by both."""
    from pipeline.words.numbers import json_number

    for row in result.rows:
        yield {
            "measure": result.measure.name,
            "group": ", ".join(filter(None, [row.group, result.within])),
            "episodes": row.episodes,
            "numerator": round(row.numerator),
            "denominator": json_number(row.denominator),
            **{name: json_number(getattr(row, name)) for name in FIGURES},
            "called": row.called,
            "note": row.note,
        }
