"""How long catheters stay and why they come out: one answer for command, reports and Python."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from pipeline.analysis.survival.aft_model import AftResult
from pipeline.analysis.survival.event_counts import EventCounts, from_frame
from pipeline.analysis.survival.hazard import (
    ClockHazard,
    CoursePart,
    HazardCurve,
    by_clock_hour,
    by_part_of_course,
    smoothed_hazard,
)
from pipeline.analysis.survival.interval_censored import (
    IntervalCounts,
    TurnbullCurve,
    turnbull_curve,
)
from pipeline.analysis.survival.model_data import Model
from pipeline.analysis.survival.planned_end import FromPlannedEnd, from_planned_end
from pipeline.analysis.survival.pump import PumpTable, pump_table
from pipeline.analysis.survival.removal_model import ModelResult
from pipeline.answers.removal_groups import (
    COMPARED_HOURS,
    RemovalAsked,
    RemovalGroup,
    RemovalTests,
    group_name,
    removal_groups,
    removal_tests,
)
from pipeline.answers.removal_models import aft_of, check_random, check_strata, model_of
from pipeline.errors import UsageError
from pipeline.measures import dwell_counts
from pipeline.measures.periods import checked_months
from pipeline.measures.where import parse_condition
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

    from pipeline.figures.look import Drawing

CHECK_HOURS = (12.0, 24.0, 36.0, 48.0, 60.0, 72.0, 84.0, 96.0)
SHOWN_UNTIL_H = 96.0


@dataclass(frozen=True)
class RemovalHazard:
    """When catheters came out for one reason."""

    curves: tuple[HazardCurve, ...]
    clock: ClockHazard | None
    parts: tuple[CoursePart, ...]


@dataclass(frozen=True)
class RemovalResult:
    """Everything that was asked; parts not asked for are None.

    `unknown` catheters have no known dwell, `midpoints` removals are known only as an
    interval and count at its middle. Figures are drawn to `until_h`.
    """

    groups: tuple[RemovalGroup, ...]
    unknown: int
    midpoints: int
    until_h: float
    check: TurnbullCurve | None
    tests: RemovalTests | None
    model: ModelResult | None
    aft: AftResult | None
    hazard: RemovalHazard | None
    pump: PumpTable | None
    planned_end: tuple[FromPlannedEnd, ...] | None

    def label(self, name: str) -> str:
        """Return a group's name as printed."""
        return next(group.label for group in self.groups if group.name == name)

    def as_json(self) -> dict[str, Any]:
        """Return the keys that scripts rely on; what was not asked for is absent."""
        from pipeline.answers.removal_json import removal_mapping

        return removal_mapping(self)

    def frame(self) -> pl.DataFrame:
        """Return one row a group, hour and curve.

        Returns
        -------
        polars.DataFrame
            `group` ("all" without groups), `reason` (null for still in place), `hour`,
            `n` catheters still in place just before it, `estimate` as a proportion with
            `se`, `lower` and `upper` 95% limits; null beyond follow-up.
        """
        from pipeline.answers.removal_json import removal_frame

        return removal_frame(self)

    @property
    def figures(self) -> tuple[str, ...]:
        """Names of the figures that can be drawn of it."""
        model, hazard = self.model, self.hazard
        there = {
            "reasons": True,
            "time-in-place": True,
            "forest": model is not None and model.fit is not None,
            "ratios-by-day": model is not None and model.check is not None,
            "hazard": hazard is not None and bool(hazard.curves),
            "clock-hour": hazard is not None and hazard.clock is not None,
            "planned-end": bool(self.planned_end),
            "pump": self.pump is not None and self.pump.all_rates.catheters > 0,
        }
        return tuple(name for name, is_there in there.items() if is_there)

    def figure(self, name: str | None = None) -> Drawing:
        """Draw one figure: unless named the model's ratios, without one the reasons.

        Raises
        ------
        UsageError
            It is not one of `figures`.
        """
        from pipeline.figures.removal import removal_figure

        name = name or ("forest" if "forest" in self.figures else "reasons")
        if name not in self.figures:
            raise UsageError(
                f"There is no figure {name} in what was asked.",
                try_next=f"--figure {' or '.join(self.figures)}",
            )
        return removal_figure(self, name)


def removal_result(
    store: Store,
    *,
    by: str | None = None,
    strata: str | None = None,
    random: str | None = None,
    where: str | None = None,
    first: str | None = None,
    last: str | None = None,
    at: Sequence[float] | None = COMPARED_HOURS,
    until_h: float | None = None,
    reason: str = "dislodged",
    adjust: Sequence[str] = (),
    model: Model | Literal["aft"] = "cox",
    impute: int = 0,
    check: bool = False,
    hazard: bool = False,
    pump: bool = False,
    planned_end: bool = False,
) -> RemovalResult:
    """Estimate how long catheters stay and why they come out, and what else was asked.

    Parameters
    ----------
    store : Store
        An open store.
    by, strata : str, optional
        Column that makes the groups, and one within whose levels they, or the catheters of
        a Cox model, are compared.
    random : str, optional
        Column between whose levels the hazard of a Cox model differs at random.
    where : str, optional
        A condition on the episodes, such as "limb = 'lower' and age_years < 6".
    first, last : str, optional
        First and last month of placement, YYYY-MM.
    at : sequence of float, optional
        Hours since placement to read the curves at; None for every distinct hour.
    until_h : float, optional
        Follow no episode beyond this hour.
    reason : str
        Reason to model and to time.
    adjust : sequence of str
        Terms of a model of the reason; none is fitted without.
    model : {"cox", "finegray", "aft"}
        Hazard of the reason, its share, or time to unplanned removal of any reason.
    impute : int
        Imputations, at least 20, with which to fit the model to what is missing as well.
    check : bool
        Whether to estimate time in place from the intervals themselves, where some
        removals are known only so and no groups were asked for.
    hazard, pump : bool
        Whether to tell when the reason happens, and how long pumps should last.
    planned_end : bool
        Whether to lay the planned courses together at their planned end.

    Raises
    ------
    UsageError
        A column, condition, month or reason is unknown.
    NoDataError
        No episode with a known dwell is left.
    """
    check_strata(strata, by, adjust, model)
    check_random(random, strata, adjust, model, impute)
    if reason not in dwell_counts.REASONS:
        raise UsageError(
            f"There is no reason of removal {reason}.",
            try_next=f"one of {', '.join(dwell_counts.REASONS)}",
        )
    hours = None if at is None else tuple(sorted(set(at)))
    months = checked_months(first, last)
    asked = RemovalAsked(by, strata, random, parse_condition(where), months, hours, until_h, reason)
    rows = dwell_counts.removal_rows(store, by, where=asked.where, months=months)
    counts = tuple(asked.followed(part) for part in from_frame(rows, dwell_counts.REASONS))
    groups = removal_groups(store, counts, asked)
    midpoints = int(rows["midpoints"].sum())
    return RemovalResult(
        groups=groups,
        unknown=int(rows.filter(rows["hours"].is_null())["n"].sum()),
        midpoints=midpoints,
        until_h=until_h or SHOWN_UNTIL_H,
        check=_check(store, asked) if check and midpoints and by is None else None,
        tests=removal_tests(store, counts, asked) if by else None,
        model=(
            model_of(store, asked, adjust, model, impute=impute)
            if adjust and model != "aft"
            else None
        ),
        aft=aft_of(store, asked, adjust, impute=impute) if adjust and model == "aft" else None,
        hazard=_hazard(store, counts, asked) if hazard else None,
        pump=_pump(store, asked) if pump else None,
        planned_end=_planned_end(store, asked) if planned_end else None,
    )


def _planned_end(store: Store, asked: RemovalAsked) -> tuple[FromPlannedEnd, ...]:
    rows = dwell_counts.planned_end_rows(store, where=asked.where, months=asked.months)
    return tuple(
        replace(curve, group=group_name("planned_course", curve.group))
        for curve in from_planned_end(rows)
    )


def _check(store: Store, asked: RemovalAsked) -> TurnbullCurve:
    rows = dwell_counts.interval_rows(store, where=asked.where, months=asked.months)
    counts = IntervalCounts(
        rows["after_h"].to_numpy(), rows["before_h"].to_numpy(), rows["n"].to_numpy()
    )
    until = asked.until_h or max(CHECK_HOURS)
    return turnbull_curve(
        counts, sorted(h for h in {*CHECK_HOURS, *(asked.at or ())} if h <= until)
    )


def _hazard(store: Store, counts: Sequence[EventCounts], asked: RemovalAsked) -> RemovalHazard:
    until = asked.until_h or SHOWN_UNTIL_H
    curves = tuple(
        smoothed_hazard(part, asked.reason, until_h=until)
        for part in counts
        if asked.reason in part.reasons
    )
    rows = dwell_counts.clock_rows(store, where=asked.where, months=asked.months)
    if rows.is_empty():
        return RemovalHazard(curves, None, ())
    course = (
        rows["placed_hour"].to_numpy(),
        rows["dwell_h"].to_numpy(),
        rows["reason"].eq_missing(asked.reason).to_numpy(),
        rows["n"].to_numpy(),
    )
    clock = by_clock_hour(*course, reason=asked.reason)
    return RemovalHazard(curves, clock, by_part_of_course(*course))


def _pump(store: Store, asked: RemovalAsked) -> PumpTable:
    rows = dwell_counts.pump_rows(store, where=asked.where, months=asked.months)
    return pump_table(
        rows["rate_ml_h"].fill_null(float("nan")).to_numpy(),
        rows["reservoir_ml"].fill_null(float("nan")).to_numpy(),
        rows["dwell_h"].to_numpy(),
        rows["is_removed"].to_numpy(),
        rows["n"].to_numpy(),
    )
