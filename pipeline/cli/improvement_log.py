"""The improvement log: which logged changes concern a chart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.analysis.charts import Change
from pipeline.measures.catalogue import Measure
from pipeline.measures.periods import quarter_of
from pipeline.store import Store


@dataclass(frozen=True)
class LogEntry:
    """One line of the improvement log, as stored."""

    change_id: str
    started_month: str
    sites: str | None
    title: str
    measures: str | None
    new_phase: bool


def improvement_log(store: Store) -> list[LogEntry]:
    """Return the whole log in time order."""
    rows = store.rows(
        "select change_id, started_month, sites, title, measures, coalesce(new_phase, false)"
        " from change order by started_month, change_id"
    )
    return [LogEntry(*row) for row in rows]


def concerning(
    log: Sequence[LogEntry], measure: Measure, *, sites: Sequence[str] = (), period: str = "month"
) -> tuple[Change, ...]:
    """Return the changes that concern a measure, at these sites or, without any, at all."""
    return tuple(
        Change(
            quarter_of(entry.started_month) if period == "quarter" else entry.started_month,
            entry.title,
            entry.new_phase,
            entry.change_id,
        )
        for entry in log
        if _concerns(entry.measures, [measure.name]) and _concerns(entry.sites, sites)
    )


def _concerns(listed: str | None, wanted: Sequence[str]) -> bool:
    names = {name.strip() for name in (listed or "").split(";") if name.strip()}
    return not names or not wanted or "all" in names or bool(names & set(wanted))
