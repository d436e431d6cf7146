"""One entry point from counts to charts with their signals."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.analysis.charts.choose import choose_kinds
from pipeline.analysis.charts.limits import Limits
from pipeline.analysis.charts.lines import lines_of, pooled, standardised
from pipeline.analysis.charts.phases import Need, PhasePlan
from pipeline.analysis.charts.results import (
    GAPS,
    KINDS,
    MODELS,
    PROPORTIONS,
    Change,
    Choice,
    ControlChart,
    Counts,
    Floats,
    Phase,
    Signal,
)
from pipeline.analysis.charts.signals import Lines, find_signals
from pipeline.analysis.charts.stack import Stack, stack_series


def control_chart(
    counts: Counts,
    *,
    kind: str,
    changes: Sequence[Change] = (),
    multiplier: float = 1.0,
    unit: str = "",
    forced: bool = False,
    model: str | None = None,
    need: Need | None = None,
) -> ControlChart:
    """Make one control chart from one series.

    Parameters
    ----------
    counts : Counts
        The series.
    kind : str
        The chart on the measure's card: one of `KINDS`. A run chart is drawn
        instead where there are too few complete points for limits, a Laney chart
        where the baseline is over-dispersed.
    changes : sequence of Change
        Logged changes that concern this series.
    multiplier : float
        Factor from the rate to the printed unit, such as 100.
    unit : str
        The printed unit, for sentences.
    forced : bool
        Take `kind` as it is, whatever the data look like.
    model : str, optional
        Distribution of the points of a run chart, binomial or poisson; every
        other chart implies its own.
    need : Need, optional
        What a baseline must hold.

    Raises
    ------
    ValueError
        For an unknown kind, or a proportion above one.
    """
    return control_charts(
        [counts],
        kind=kind,
        changes=[changes],
        multiplier=multiplier,
        unit=unit,
        forced=forced,
        model=model,
        need=need,
    )[0]


def control_charts(
    counts: Sequence[Counts],
    *,
    kind: str,
    changes: Sequence[Sequence[Change]] | None = None,
    multiplier: float = 1.0,
    unit: str = "",
    forced: bool = False,
    model: str | None = None,
    need: Need | None = None,
) -> list[ControlChart]:
    """Make a chart for each of many series of one measure in one pass.

    Parameters are those of `control_chart`; `changes` holds one sequence for
    each series.
    """
    _check(counts, kind)
    logs = [()] * len(counts) if changes is None else changes
    points = model or MODELS.get(kind, "poisson")
    stack = stack_series(
        counts, logs, need=need or Need(), ones=kind in GAPS,
        proportion=points == "binomial",
    )  # fmt: skip
    chosen = choose_kinds(stack, kind, standardised(stack, kind), forced=forced)
    kinds = [drawn for drawn, _ in chosen]
    value, centre, limits = lines_of(stack, kinds)
    limits = _only_ready(stack, limits, kinds, forced=forced)
    lines = Lines(value, centre, limits, pooled(stack)[stack.limit_set])
    signals = find_signals(stack, kinds, lines)
    printed = _Printed(points, multiplier, unit, lines, chosen, signals)
    return [_one_chart(stack, i, printed) for i in range(len(counts))]


@dataclass(frozen=True, eq=False)
class _Printed:
    """What the charts of one call share, and what is found of each; lines as rates."""

    model: str
    multiplier: float
    unit: str
    lines: Lines
    chosen: Sequence[tuple[str, Choice]]
    signals: Sequence[tuple[Signal, ...]]


def _check(counts: Sequence[Counts], kind: str) -> None:
    if kind not in KINDS:
        raise ValueError(f"unknown chart {kind!r}; one of {', '.join(KINDS)}")
    for series in counts:
        x, n = series.numerator[series.usable], series.denominator[series.usable]
        if kind in PROPORTIONS and np.any(x > n * (1 + 1e-12)):
            raise ValueError("a numerator is above its denominator: not a proportion")
        if np.any(x < 0):
            raise ValueError("a numerator is below zero")


def _only_ready(stack: Stack, limits: Limits, kinds: list[str], *, forced: bool) -> Limits:
    """Blank the limits of sets whose baseline is too short, and where there is no point."""
    asked = np.array([kind != "run" for kind in kinds], bool)[stack.series]
    enough = stack.set_has_limits | (stack.total() > 0) if forced else stack.set_has_limits
    ready = asked & stack.usable & enough[stack.limit_set]
    blank = [np.where(ready, x, np.nan) for x in (limits.lower, limits.upper, limits.sigma)]
    return Limits(blank[0], blank[1], blank[2], limits.exact & ready)


def _one_chart(stack: Stack, i: int, printed: _Printed) -> ControlChart:
    """Cut one series out of the stack, in the printed unit."""
    part, counts, plan = stack.slice_of(i), stack.counts[i], stack.plans[i]
    lines, limits, times = printed.lines, printed.lines.limits, printed.multiplier
    kind, choice = printed.chosen[i]
    centre, upper = lines.centre[part] * times, limits.upper[part] * times
    return ControlChart(
        kind=kind,
        model=MODELS.get(kind, printed.model),
        choice=choice,
        unit=printed.unit,
        multiplier=times,
        periods=counts.periods,
        numerator=counts.numerator,
        denominator=counts.denominator,
        value=lines.value[part] * times,
        centre=centre,
        lower=limits.lower[part] * times,
        upper=upper,
        sigma=limits.sigma[part] * times,
        exact=limits.exact[part],
        phase=plan.phase,
        limit_set=plan.limit_set,
        baseline=plan.baseline,
        provisional=counts.provisional,
        judged=stack.judged[part],
        kept=stack.kept[part],
        phases=_phases(counts, plan, kind, centre, upper),
        changes=plan.drawn,
        later_changes=plan.later,
        ends_open=counts.ends_open,
        signals=printed.signals[i],
    )


def _phases(
    counts: Counts, plan: PhasePlan, kind: str, centre: Floats, upper: Floats
) -> tuple[Phase, ...]:
    """Describe each phase of one series."""
    found = []
    last_phase = int(plan.phase[-1]) if plan.phase.size else 0
    starts = np.searchsorted(plan.phase, np.arange(1, last_phase + 2)).tolist()
    for number, (first, stop) in enumerate(pairwise(starts), start=1):
        if first == stop:
            continue  # a phase without an event has no gap
        owner = int(plan.limit_set[first])
        base = np.flatnonzero(plan.baseline & (plan.limit_set == owner))
        started = [
            c.title
            for c in plan.drawn
            if c.new_phase and number > 1 and bisect_left(counts.periods, c.started) == first
        ]
        found.append(
            Phase(
                number=number,
                first=counts.periods[first],
                last=counts.periods[stop - 1],
                change="; ".join(started),
                baseline_first=counts.periods[base[0]] if base.size else None,
                baseline_last=counts.periods[base[-1]] if base.size else None,
                baseline_points=int(base.size),
                centre=float(centre[first]),
                has_limits=bool(np.isfinite(upper[first:stop]).any()),
                carried_forward=owner != number and kind != "run",
                is_kept=plan.is_kept[owner],
            )
        )
    return tuple(found)
