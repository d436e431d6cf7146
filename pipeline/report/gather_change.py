"""Logged changes judged before against after, from the store to what may be shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.change import AFTER, BEFORE, PERIOD, ChangeEffect, SiteMonths, assess
from pipeline.analysis.pattern_counts import PatternCounts
from pipeline.disclosure import Ledger, Policy, enter_rows, rows_withheld
from pipeline.errors import NoDataError, UsageError
from pipeline.measures.catalogue import Measure, find_measure
from pipeline.measures.periods import months_between
from pipeline.report.gather_compare import counted, final_months, terms_of
from pipeline.settings import Settings
from pipeline.store import Store

ALL_SITES = "all"


@dataclass(frozen=True)
class Change:
    """An entry of the improvement log.

    Attributes
    ----------
    change_id, started_month, title : str
        As logged.
    sites : tuple of str
        Codes; empty for all sites.
    measures : tuple of str
        Names of the measures that it was meant to move.
    """

    change_id: str
    started_month: str
    title: str
    sites: tuple[str, ...]
    measures: tuple[str, ...]


@dataclass(frozen=True)
class JudgedChange:
    """A change's effect on one measure.

    Attributes
    ----------
    change : Change
        The entry of the log.
    measure : Measure
        The measure's card.
    effect : ChangeEffect
        All figures; those that are withheld are not for showing.
    is_withheld : bool
        Before or after is a small cell, so that no figure of it may be shown.
    are_controls_withheld : bool
        The same at the control sites.
    hidden_months : bool array, shape (months,)
        Months whose point may not be drawn.
    """

    change: Change
    measure: Measure
    effect: ChangeEffect
    is_withheld: bool
    are_controls_withheld: bool
    hidden_months: NDArray[np.bool_]


def read_changes(store: Store, change_id: str | None = None) -> list[Change]:
    """Return the improvement log by month, or one entry of it.

    Raises
    ------
    UsageError
        There is no entry of that name.
    NoDataError
        The log is empty.
    """
    rows = store.rows(
        "select change_id, started_month, title, sites, measures from change"
        " order by started_month, change_id"
    )
    changes = [
        Change(name, started, title, tuple(s for s in _codes(sites) if s != ALL_SITES), _codes(m))
        for name, started, title, sites, m in rows
    ]
    if not changes:
        raise NoDataError("No change is logged.", try_next="a change.csv in the folder you load")
    if change_id is None:
        return changes
    found = [change for change in changes if change.change_id == change_id]
    if not found:
        names = ", ".join(change.change_id for change in changes)
        raise UsageError(f"There is no logged change {change_id}.", try_next=f"one of {names}")
    return found


def _codes(text: str | None) -> tuple[str, ...]:
    return tuple(code for code in (text or "").replace(",", " ").replace(";", " ").split() if code)


def judge_change(
    store: Store,
    change: Change,
    measure: Measure,
    *,
    months: tuple[str, str] | None = None,
    lag: int = 0,
    policy: Policy,
    settings: Settings,
) -> JudgedChange:
    """Judge one change on one measure, over months that are final.

    Raises
    ------
    NoDataError
        There is nothing before it, or nothing after it.
    """
    final = final_months(store, [measure], months)
    terms = terms_of(measure)
    factors = ("site", "month", PERIOD, *(t for t in terms if t != "site"))
    ((_, counts),) = counted(
        store,
        [measure],
        factors,
        months=final,
        settings=settings,
        started_month=change.started_month,
    )
    sites = change.sites or counts.levels["site"]
    own = counts.having("site", sites)
    if set(own.levels[PERIOD]) != {BEFORE, AFTER}:
        raise NoDataError(
            f"Change {change.change_id} has no final months of {measure.name} on both sides of"
            f" {change.started_month}.",
            try_next="dwell status",
        )
    effect = assess(
        site_months(counts),
        started_month=change.started_month,
        sites=sites,
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
        lag=lag,
        counts=own,
        terms=terms,
    )
    return _judged(change, measure, effect, counts, policy)


def judge_changes(
    store: Store,
    changes: Sequence[Change],
    *,
    measures: Sequence[str] = (),
    months: tuple[str, str] | None = None,
    lag: int = 0,
    policy: Policy,
    settings: Settings,
) -> tuple[list[JudgedChange], list[str]]:
    """Judge changes on the measures they were logged for, or on those named.

    Returns
    -------
    tuple
        What could be judged, and a sentence for each that could not.
    """
    judged, messages = [], []
    for change in changes:
        for name in measures or change.measures:
            try:
                judged.append(
                    judge_change(
                        store,
                        change,
                        find_measure(name),
                        months=months,
                        lag=lag,
                        policy=policy,
                        settings=settings,
                    )
                )
            except NoDataError as error:
                messages.append(error.message)
    return judged, messages


def site_months(counts: PatternCounts) -> SiteMonths:
    """Add a measure's counts up by site and month, months without gaps."""
    sites, known = counts.levels["site"], counts.levels["month"]
    months = tuple(months_between(known[0], known[-1]))
    column = np.array([months.index(month) for month in known])[counts.codes["month"]]
    cell = counts.codes["site"] * len(months) + column
    sums = counts.sums.added_by(cell, len(sites) * len(months))
    shape = (len(sites), len(months))
    return SiteMonths(months, sites, sums.numerator.reshape(shape), sums.denominator.reshape(shape))


def _judged(
    change: Change, measure: Measure, effect: ChangeEffect, counts: PatternCounts, policy: Policy
) -> JudgedChange:
    own = counts.having("site", effect.sites)
    sides = _small_sides(measure, own, policy)
    controls = counts.having("site", effect.controls) if effect.controls else None
    return JudgedChange(
        change,
        measure,
        effect,
        is_withheld=sides,
        are_controls_withheld=controls is not None and _small_sides(measure, controls, policy),
        hidden_months=_hidden(measure, own, "month", policy, effect.months),
    )


def _small_sides(measure: Measure, counts: PatternCounts, policy: Policy) -> bool:
    return bool(_hidden(measure, counts, PERIOD, policy, counts.levels[PERIOD]).any())


def _hidden(
    measure: Measure, counts: PatternCounts, factor: str, policy: Policy, wanted: Sequence[str]
) -> NDArray[np.bool_]:
    """Say which labels of a factor may not be shown, in the order wanted."""
    totals, labels = counts.totals(factor), counts.levels[factor]
    ledger = Ledger(policy)
    enter_rows(
        ledger,
        measure.name,
        labels,
        with_event=totals.with_event,
        episodes=totals.episodes,
        is_proportion=measure.denominator_kind == "proportion"
        and bool(np.all(totals.denominator == totals.episodes)),
    )
    hidden = dict(
        zip(
            labels,
            rows_withheld(ledger.withheld(), measure.name, labels).figures.tolist(),
            strict=True,
        )
    )
    return np.array([hidden.get(label, False) for label in wanted], bool)
