"""Did a change work? Before against after, with what could mislead laid beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.change.drift import DriftingDifference, drifting_difference
from pipeline.analysis.change.segmented import Segmented, segmented_regression
from pipeline.analysis.comparison.contrasts import Contrast, adjusted_contrast, crude_contrast
from pipeline.analysis.comparison.count_models import clustering
from pipeline.analysis.comparison.pattern_counts import PatternCounts
from pipeline.analysis.rates.power import too_few_to_tell
from pipeline.analysis.rates.rates import Kind, Rates, rates

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PERIOD, BEFORE, AFTER = "period", "before", "after"


@dataclass(frozen=True)
class SiteMonths:
    """A measure's counts by site and month.

    Attributes
    ----------
    months : tuple of str, length m
        In order, without gaps.
    sites : tuple of str, length s
        Codes.
    numerator, denominator : float array, shape (s, m)
        Zero where a site placed nothing.
    """

    months: tuple[str, ...]
    sites: tuple[str, ...]
    numerator: Floats
    denominator: Floats

    def at(self, sites: Sequence[str]) -> tuple[Floats, Floats]:
        """Add up some sites, month by month."""
        rows = [self.sites.index(site) for site in sites]
        return self.numerator[rows].sum(axis=0), self.denominator[rows].sum(axis=0)


@dataclass(frozen=True)
class ChangeEffect:
    """A logged change judged before against after at its sites.

    Attributes
    ----------
    started_month : str
        First month of the change.
    sites, controls : tuple of str
        Sites that made the change, and sites of the same months that did not.
    months : tuple of str
        All months looked at.
    monthly : Rates
        The changed sites' rate in each month.
    before, after : Rates
        Their rate before and after, as scalars.
    crude : Contrast
        After against before.
    adjusted : Contrast or None
        The same given the case mix; None where the events are too few for a term.
    segmented : Segmented or None
        None with too few months.
    at_controls : Contrast or None
        After against before at the control sites.
    against_drift : DriftingDifference or None
        What is judged: the change against that of the control sites, or without any
        against the sites' own past, given how sites drift; None where either kind of
        site has no event on one side.
    without_first_month : Contrast or None
        The crude contrast without the first month of the change.
    placebo : DriftingDifference or None
        The same of the months before, split in the middle, where nothing was changed.
    placebo_month : str
        The month of that split; empty without one.
    dispersion : float
        Events that come in clusters of this size were counted as one.
    is_too_few : bool
        Even a doubling (or a halving's inverse) could not have been shown.
    """

    started_month: str
    sites: tuple[str, ...]
    controls: tuple[str, ...]
    months: tuple[str, ...]
    monthly: Rates
    before: Rates
    after: Rates
    crude: Contrast
    adjusted: Contrast | None
    segmented: Segmented | None
    at_controls: Contrast | None
    against_drift: DriftingDifference | None
    without_first_month: Contrast | None
    placebo: DriftingDifference | None
    placebo_month: str
    dispersion: float
    is_too_few: bool


def assess(
    series: SiteMonths,
    *,
    started_month: str,
    sites: Sequence[str],
    kind: Kind,
    multiplier: float = 100.0,
    lag: int = 0,
    counts: PatternCounts | None = None,
    terms: Sequence[str] = (),
) -> ChangeEffect:
    """Judge a change on one measure.

    Parameters
    ----------
    series : SiteMonths
        Final (not provisional) months alone.
    started_month : str
        The first month of the change; it counts as after.
    sites : sequence of str
        Sites that made the change; the others are controls.
    kind, multiplier
        The kind of the measure's denominator, and its unit.
    lag : int
        Months from the change on that the segmented regression leaves out.
    counts : PatternCounts, optional
        The changed sites' episodes, with a factor "period" ("before", "after")
        and the case-mix terms.
    terms : sequence of str
        Case-mix terms.

    Raises
    ------
    ValueError
        If there is no denominator before, or none after, the change.
    """
    own = tuple(site for site in series.sites if site in set(sites))
    controls = tuple(site for site in series.sites if site not in set(sites))
    index = np.arange(len(series.months))
    after = np.array([month >= started_month for month in series.months], bool)
    y, n = series.at(own)
    if n[after].sum() <= 0 or n[~after].sum() <= 0:
        raise ValueError("a change needs episodes before and after it")
    clump = 1.0 if counts is None else _clustering(counts, kind)
    first = int(np.argmax(after))
    middle = first // 2

    def between(who: Sequence[str], then: Bools, now: Bools) -> Contrast | None:
        return _contrast(series.at(who), (then, now), kind, multiplier, clump)

    before_rate, after_rate = (
        rates(y[side].sum(), n[side].sum(), kind=kind, multiplier=multiplier)
        for side in (~after, after)
    )

    def drifting(until: int, change: int) -> DriftingDifference | None:
        return drifting_difference(
            series.numerator[:, :until],
            series.denominator[:, :until],
            first=change,
            changed=np.isin(series.sites, own),
            kind=kind,
            dispersion=clump,
        )

    crude = between(own, ~after, after)
    assert crude is not None  # both sides were seen to have a denominator
    return ChangeEffect(
        started_month=started_month,
        sites=own,
        controls=controls,
        months=series.months,
        monthly=rates(y, n, kind=kind, multiplier=multiplier),
        before=before_rate,
        after=after_rate,
        crude=crude,
        adjusted=_adjusted(counts, terms, kind, multiplier),
        segmented=segmented_regression(
            y, n, change=first, kind=kind, multiplier=multiplier, lag=lag
        ),
        at_controls=between(controls, ~after, after) if controls else None,
        against_drift=drifting(len(index), first),
        without_first_month=between(own, ~after, after & (index > first)),
        placebo=drifting(first, middle) if middle else None,
        placebo_month=series.months[middle] if middle else "",
        dispersion=clump,
        is_too_few=_is_too_few(y, n, after, kind=kind, dispersion=clump),
    )


def _contrast(
    counts: tuple[Floats, Floats],
    sides: tuple[Bools, Bools],
    kind: Kind,
    multiplier: float,
    dispersion: float,
) -> Contrast | None:
    y, n = counts
    first, second = ((float(y[side].sum()), float(n[side].sum())) for side in sides)
    if first[1] <= 0 or second[1] <= 0:
        return None
    return crude_contrast(first, second, kind=kind, multiplier=multiplier, dispersion=dispersion)


def _adjusted(
    counts: PatternCounts | None, terms: Sequence[str], kind: Kind, multiplier: float
) -> Contrast | None:
    if counts is None or not terms or set(counts.levels[PERIOD]) != {BEFORE, AFTER}:
        return None
    return adjusted_contrast(
        counts,
        by=PERIOD,
        first=BEFORE,
        second=AFTER,
        terms=terms,
        kind=kind,
        multiplier=multiplier,
    )


def _clustering(counts: PatternCounts, kind: Kind) -> float:
    """How far events cluster within an episode, each period having its own rate."""
    totals = counts.totals(PERIOD)
    mean = totals.numerator / np.where(totals.denominator > 0, totals.denominator, 1.0)
    return clustering(counts.sums, mean[counts.codes[PERIOD]], kind)


def _is_too_few(y: Floats, n: Floats, after: Bools, *, kind: Kind, dispersion: float) -> bool:
    """Judge by the events that the smaller side would have at the overall rate."""
    smaller = min(n[after].sum(), n[~after].sum())
    expected = y.sum() / n.sum() * smaller
    return bool(too_few_to_tell(expected, smaller, kind=kind, dispersion=dispersion))
