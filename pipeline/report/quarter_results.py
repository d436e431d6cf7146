"""Everything that the quarterly report of a quarter is made from, read once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.answers.actions import ActionList, improvement_actions
from pipeline.answers.change import JudgedChanges, judge_changes
from pipeline.answers.comparison import ComparedGroups
from pipeline.answers.events import EventList, serious_events
from pipeline.answers.findings import Finding, quarter_findings
from pipeline.answers.quality import DataQuality, data_quality
from pipeline.answers.removal import RemovalResult, removal_result
from pipeline.answers.safety import SafetyCall, safety_calls
from pipeline.errors import NoDataError
from pipeline.measures.grace import EarlyWithin, early_by_grace
from pipeline.measures.log import LoggedChange, logged_changes
from pipeline.measures.periods import EARLIEST, months_of, quarter_before
from pipeline.measures.quarters import check_quarter, latest_quarter
from pipeline.report import (
    compare_section,
    front,
    signals_section,
)
from pipeline.report.front import Facts
from pipeline.report.parameters import store_path
from pipeline.report.second_process import SecondProcess
from pipeline.report.signals_section import Basis
from pipeline.settings import Settings, load_settings
from pipeline.store import Store, open_store


@dataclass(frozen=True)
class QuarterResults:
    """All results of a quarter; nothing after this looks into the store.

    Attributes
    ----------
    facts : Facts
        Size and source of the figures.
    findings : tuple of Finding
        Every measure.
    safety : tuple of SafetyCall
        Sites at which a safety measure is worse.
    signals_before : Basis
        What tells which of their signals are new.
    changes : tuple of LoggedChange
        The improvement log up to the quarter.
    removal, removal_before : RemovalResult or None
        Time in place and reasons, of the quarter and the year before it.
    removal_by_course : RemovalResult or None
        Those of the quarter, apart for each planned course.
    quality : DataQuality
        What came in, and how much of it is known.
    compared : tuple of Compared
        Every measure over the last eight quarters, by site and by surgeon type.
    tried : Tried
        The improvement log, before and after.
    grace : tuple of EarlyWithin
        Early removals of the quarter by hours of grace.
    events : EventList
        Every serious event up to the quarter.
    actions : ActionList
        The improvement actions as they stood at its end.
    settings : Settings
        The programme's settings.
    """

    facts: Facts
    findings: tuple[Finding, ...]
    safety: tuple[SafetyCall, ...]
    signals_before: Basis
    changes: tuple[LoggedChange, ...]
    removal: RemovalResult | None
    removal_before: RemovalResult | None
    removal_by_course: RemovalResult | None
    quality: DataQuality
    compared: tuple[ComparedGroups, ...]
    tried: JudgedChanges
    grace: tuple[EarlyWithin, ...]
    events: EventList
    actions: ActionList
    settings: Settings


def collect_quarter(
    quarter: str,
    db: str,
    *,
    settings_file: str | None = None,
    beside: SecondProcess | None = None,
) -> QuarterResults:
    """Read everything that the report of a quarter is made from.

    Parameters
    ----------
    quarter : str
        Such as `2025-Q4`; empty for the latest.
    db : str
        Path of the store; empty for that of `DWELL_DB`.
    settings_file : str, optional
        The programme's settings.
    beside : SecondProcess, optional
        A second process, which compares the groups meanwhile.

    Raises
    ------
    UsageError, NoDataError, StoreError, SettingsError
        As they say.
    """
    settings = load_settings(Path(settings_file) if settings_file else None)
    db = store_path(db)
    with open_store(db) as store:
        quarter = quarter or latest_quarter(store)
        check_quarter(store, quarter)
    compared = (beside or SecondProcess(cores=1)).call(_compared, db, quarter, settings)
    with open_store(db) as store:
        changes = logged_changes(store, months_of(quarter)[1])
        return QuarterResults(
            facts=front.facts_of(store, quarter, settings),
            findings=quarter_findings(store, quarter, settings),
            safety=safety_calls(store, quarter, settings),
            signals_before=signals_section.signals_before(store, quarter),
            changes=tuple(changes),
            removal=_removal(store, *months_of(quarter), check=True),
            removal_before=_removal(store, *_year_before(quarter)),
            removal_by_course=_removal(
                store, *months_of(quarter), by="planned_course", planned_end=True
            ),
            quality=data_quality(store, quarter, settings),
            tried=judge_changes(store, months=(EARLIEST, months_of(quarter)[1]), settings=settings),
            compared=compared.result(),
            grace=early_by_grace(store, quarter),
            events=serious_events(store, last=months_of(quarter)[1], settings=settings),
            actions=improvement_actions(store, months_of(quarter)[1]),
            settings=settings,
        )


def _removal(store: Store, first: str, last: str, **asked: Any) -> RemovalResult | None:
    """Return time in place and reasons over some months of placement, where any is known."""
    try:
        return removal_result(store, first=first, last=last, **asked)
    except NoDataError:
        return None


def _year_before(quarter: str) -> tuple[str, str]:
    """Return the first and last month of the four quarters before."""
    return months_of(quarter_before(quarter, 4))[0], months_of(quarter_before(quarter))[1]


def _compared(db: str, quarter: str, settings: Settings) -> tuple[ComparedGroups, ...]:
    """Return the groups, which need no other part; the store is opened for them alone."""
    with open_store(db) as store:
        return compare_section.by_groups(store, quarter, settings)
