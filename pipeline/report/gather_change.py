"""Logged changes judged before against after, from the store to what may be shown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.change.effect import AFTER, BEFORE, PERIOD, ChangeEffect, SiteMonths, assess
from pipeline.analysis.comparison.pattern_counts import PatternCounts
from pipeline.disclosure import Policy, withheld_rows
from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure, find_measure, load_catalogue
from pipeline.measures.dimensions import case_mix_terms
from pipeline.measures.log import LoggedChange
from pipeline.measures.periods import months_between
from pipeline.report.gather_compare import counted, final_months
from pipeline.settings import Settings
from pipeline.store import Store

SPANS = (1, 3)  # months that a point may stand for


@dataclass(frozen=True)
class JudgedChange:
    """A change's effect on one measure.

    Attributes
    ----------
    change : LoggedChange
        The entry of the log.
    measure : Measure
        The measure's card.
    effect : ChangeEffect
        All figures; those that are withheld are not for showing.
    is_withheld : bool
        Before or after is a small cell, so that no figure of it may be shown.
    are_controls_withheld : bool
        The same at the control sites.
    span : int
        Months that a point of the figure stands for: 1, or 3 where single months
        are small cells, or 0 where no point may be drawn. Never some of them: small
        counts are low counts, and what is left would look higher than it is.
    """

    change: LoggedChange
    measure: Measure
    effect: ChangeEffect
    is_withheld: bool
    are_controls_withheld: bool
    span: int


def judge_change(
    store: Store,
    change: LoggedChange,
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
    terms = case_mix_terms(measure)
    # Months and case mix apart: every combination of both would be as many as episodes.
    monthly, counts = (
        _only(
            counted(
                store,
                [measure],
                factors,
                months=final,
                settings=settings,
                started_month=change.started_month,
            )
        )
        for factors in (
            ("site", "month", PERIOD),
            ("site", PERIOD, *(term for term in terms if term != "site")),
        )
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
        site_months(monthly),
        started_month=change.started_month,
        sites=sites,
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
        lag=lag,
        counts=own,
        terms=terms,
    )
    return _judged(change, measure, effect, monthly, policy)


def _only(counted_: Iterator[tuple[Measure, PatternCounts]]) -> PatternCounts:
    """Return the counts of the one measure that was asked for."""
    ((_, counts),) = counted_
    return counts


def judge_changes(
    store: Store,
    changes: Sequence[LoggedChange],
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
        for name in measures or change.measures or load_catalogue():
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
    change: LoggedChange,
    measure: Measure,
    effect: ChangeEffect,
    counts: PatternCounts,
    policy: Policy,
) -> JudgedChange:
    own = counts.having("site", effect.sites)
    controls = counts.having("site", effect.controls) if effect.controls else None
    return JudgedChange(
        change,
        measure,
        effect,
        is_withheld=_small_sides(measure, own, policy),
        are_controls_withheld=controls is not None and _small_sides(measure, controls, policy),
        span=_span(measure, own, effect, policy),
    )


def _small_sides(measure: Measure, counts: PatternCounts, policy: Policy) -> bool:
    """Whether before or after is a small cell; the two together are known."""
    totals, labels = counts.totals(PERIOD), counts.levels[PERIOD]
    hidden = withheld_rows(
        policy,
        with_event=totals.with_event,
        episodes=totals.episodes,
        is_proportion=_is_one_each(measure, counts),
        children=(totals.children_with_event, totals.children),
    )
    return len(labels) < 2 or bool(hidden.figures.any())


def _is_one_each(measure: Measure, counts: PatternCounts) -> bool:
    return measure.denominator_kind == "proportion" and bool(
        np.all(counts.sums.denominator == counts.sums.episodes)
    )


def _span(measure: Measure, counts: PatternCounts, effect: ChangeEffect, policy: Policy) -> int:
    """Return the fewest months a point may stand for, counted from the change outwards."""
    first = effect.months.index(effect.started_month)
    at = np.array([effect.months.index(month) for month in counts.levels["month"]]) - first
    for span in SPANS:
        block = (at // span - (at // span).min())[counts.codes["month"]]
        sums = counts.sums.added_by(block, int(block.max()) + 1)
        cells = [(sums.with_event, sums.children_with_event), (sums.episodes, sums.children)]
        if _is_one_each(measure, counts):
            without = sums.episodes - sums.with_event
            cells.append((without, sums.children - sums.children_with_event))
        if not any(policy.is_few(*cell).any() for cell in cells):
            return span
    return 0
