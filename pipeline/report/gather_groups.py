"""Measures by site and by surgeon type, collected for a report."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.disclosure import Policy
from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Kind, Measure, load_catalogue
from pipeline.measures.periods import months_of
from pipeline.report import words
from pipeline.report.compare_section import Compared
from pipeline.report.gather_compare import compare_measures, final_months
from pipeline.settings import Settings
from pipeline.store import Store

QUARTERS = 8  # one quarter alone is too few to tell sites apart
GROUPINGS = ("site", "surgeon_type")


def outcomes(
    store: Store, quarter: str, policy: Policy, settings: Settings
) -> tuple[Compared, ...]:
    """Return the outcome measures of the last eight quarters, by each grouping."""
    months = months_of(words.quarter_before(quarter, QUARTERS - 1))[0], months_of(quarter)[1]
    measures = [m for m in load_catalogue().values() if m.kind is Kind.OUTCOME]
    found = (
        grouped(store, measures, by, months, policy=policy, settings=settings) for by in GROUPINGS
    )
    return tuple(compared for compared in found if compared is not None)


def grouped(
    store: Store,
    measures: Sequence[Measure],
    by: str,
    months: tuple[str, str],
    *,
    policy: Policy,
    settings: Settings,
) -> Compared | None:
    """Return measures by one grouping; None where there are no two groups."""
    try:
        results = compare_measures(
            store, measures, by=by, months=months, policy=policy, settings=settings
        )
        final = final_months(store, measures, months)
    except NoDataError:
        return None
    labels = dict(store.rows("select site, label from site")) if by == "site" else {}
    return Compared(by, tuple(results), labels, final)
