"""Measures by site and by surgeon type, collected for a report."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.disclosure import Policy
from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure, MeasureKind, load_catalogue
from pipeline.measures.dimensions import group_labels, site_labels
from pipeline.measures.log import logged_changes
from pipeline.measures.periods import months_of
from pipeline.report.compare_section import Compared
from pipeline.report.gather_change import judge_changes
from pipeline.report.gather_compare import EARLIEST, compare_measures, final_months
from pipeline.report.gather_group_charts import group_charts
from pipeline.report.group_charts import GroupCharts
from pipeline.report.tried_section import Tried
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words import numbers as words

QUARTERS = 8  # one quarter alone is too few to tell sites apart
GROUPINGS = ("site", "surgeon_type")


def outcomes(
    store: Store, quarter: str, policy: Policy, settings: Settings
) -> tuple[Compared, ...]:
    """Return the outcome measures of the last eight quarters, by each grouping."""
    months = months_of(words.quarter_before(quarter, QUARTERS - 1))[0], months_of(quarter)[1]
    measures = [m for m in load_catalogue().values() if m.kind is MeasureKind.OUTCOME]
    found = (
        grouped(store, measures, by, months, policy=policy, settings=settings) for by in GROUPINGS
    )
    return tuple(compared for compared in found if compared is not None)


def tried(store: Store, quarter: str, policy: Policy, settings: Settings) -> Tried:
    """Return the changes begun up to a quarter, judged on the months up to its last."""
    last = months_of(quarter)[1]
    changes = logged_changes(store, last)
    judged, messages = judge_changes(
        store, changes, months=(EARLIEST, last), policy=policy, settings=settings
    )
    labels = site_labels(store)
    return Tried(tuple(changes), tuple(judged), tuple(messages), labels)


def charted(
    store: Store, compared: Compared, quarter: str, policy: Policy, settings: Settings
) -> GroupCharts:
    """Return the control charts of the outcomes for each group that has a page of its own."""
    measures = [m for m in load_catalogue().values() if m.kind is MeasureKind.OUTCOME]
    return group_charts(
        store,
        measures,
        compared.by,
        compared.charted,
        months_of(quarter)[1],
        policy=policy,
        settings=settings,
    )


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
    labels = group_labels(store, by)
    return Compared(by, tuple(results), labels, final)
