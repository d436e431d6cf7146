"""What comparisons would say if numerators that are not known were imputed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from pipeline.analysis.comparison.imputation import ImputedGroup, imputed_ratios
from pipeline.analysis.comparison.pooling import IMPUTATIONS
from pipeline.answers.grouped_counts import no_two_groups, pattern_counts
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import case_mix_terms, grouped_by
from pipeline.measures.patterns import final_months
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

    from pipeline.figures.look import Drawing


@dataclass(frozen=True)
class ImputedGroups:
    """Some measures by one grouping: complete cases, and with the missing imputed.

    Attributes
    ----------
    by : str
        What makes the groups.
    imputations : int
        How many there are.
    groups : tuple of (Measure, ImputedGroup)
        Groups with a denominator, measure by measure.
    """

    by: str
    imputations: int
    groups: tuple[tuple[Measure, ImputedGroup], ...]

    def as_json(self) -> list[dict[str, Any]]:
        """Return a mapping a measure and group; null for what is not known."""
        from pipeline.words.numbers import json_number

        return [
            {"measure": measure.name}
            | {
                name: value if isinstance(value, str) else json_number(value)
                for name, value in asdict(group).items()
            }
            for measure, group in self.groups
        ]

    def frame(self) -> pl.DataFrame:
        """Return a row a measure and group, with the columns of `as_json`."""
        import polars as pl

        return pl.DataFrame(self.as_json(), infer_schema_length=None)

    def figure(self) -> Drawing:
        """Return both ratios of each group drawn side by side."""
        from pipeline.figures.imputation import imputed_figure

        return imputed_figure(self.frame())

    def sentences(self) -> list[str]:
        """Say of each group with something missing what imputing it changes."""
        from pipeline.words.imputation import about_imputed

        return [about_imputed(measure, group) for measure, group in self.groups if group.missing]


def imputed_groups(
    store: Store,
    measures: Sequence[Measure],
    *,
    by: str = "site",
    months: tuple[str, str] | None = None,
    settings: Settings | None = None,
    imputations: int = IMPUTATIONS,
) -> ImputedGroups:
    """Compare groups with what is missing imputed, beside complete cases.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
        What to compare.
    by : str
        What makes the groups.
    months : tuple of str, optional
        First and last month of placement; provisional ones are left out.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.
    imputations : int
        At least 20.

    Raises
    ------
    UsageError
        `by` is unknown.
    NoDataError
        There is nothing to compare.
    """
    grouped_by(by)
    final = final_months(store, measures, months)
    terms = {measure.name: case_mix_terms(measure, by) for measure in measures}
    factors = dict.fromkeys([by, *(term for those in terms.values() for term in those)])
    found = []
    for measure, counts in pattern_counts(
        store, measures, factors, months=final, settings=settings or Settings()
    ):
        known = counts.totals(by).denominator > 0
        if known.sum() < 2:
            continue
        kept = counts.having(by, [g for g, k in zip(counts.levels[by], known, strict=True) if k])
        rows = imputed_ratios(
            kept, by=by, terms=terms[measure.name], kind=measure.denominator_kind, m=imputations
        )
        found += [(measure, row) for row in rows]
    if not found:
        raise no_two_groups()
    return ImputedGroups(by, imputations, tuple(found))
