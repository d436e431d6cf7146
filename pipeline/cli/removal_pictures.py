"""The figures of `dwell removal`, one into a file or all into a folder."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pipeline.analysis.survival.incidence import Incidence
from pipeline.analysis.survival.time_in_place import AT_RISK_HOURS, TimeInPlace
from pipeline.cli.removal_groups import Group
from pipeline.cli.removal_pump import pump_hidden
from pipeline.cli.removal_result import RemovalResult
from pipeline.disclosure import Policy, withheld_at_risk
from pipeline.errors import NoDataError, RenderError, UsageError
from pipeline.figures.look import Drawing, standalone
from pipeline.figures.time_in_place import EVERYONE


def draw(result: RemovalResult, out: Path, figure: str, until_h: float, policy: Policy) -> None:
    """Write one figure where `out` ends in .svg or .png, else all there are into a folder.

    Raises
    ------
    NoDataError
        There is nothing to draw.
    UsageError
        The figure was not worked out.
    RenderError
        The file or folder cannot be written.
    """
    found = drawings(result, until_h, policy)
    if not found:
        raise NoDataError("Too few catheters to draw anything.", try_next="dwell status")
    if out.suffix:
        if figure not in found:
            raise UsageError(
                f"There is no figure {figure} in what was asked.",
                try_next=f"--figure {' or '.join(found)}",
            )
        standalone(found[figure]).save(out)
        return
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RenderError(f"Cannot make the folder {out}: {error.strerror}.") from None
    for name, drawing in found.items():
        standalone(drawing).save(out / f"{name}.svg")


def drawings(result: RemovalResult, until_h: float, policy: Policy) -> dict[str, Drawing]:
    """Return every figure that can be drawn of a result, by its name."""
    from pipeline.figures.forest import by_day_figure, forest_figure
    from pipeline.figures.hazard import clock_figure, hazard_figure
    from pipeline.figures.incidence import incidence_figure
    from pipeline.figures.pump import pump_figure
    from pipeline.figures.time_in_place import time_in_place_figure

    found: dict[str, Drawing] = {}
    shown = [_curves(group) for group in result.groups if group.time is not None]
    if shown:
        steps = next(group.readable.note for group in result.groups if group.readable)
        found["reasons"] = _noted(
            incidence_figure([reasons for _, reasons in shown], until_h=until_h), steps
        )
        found["time-in-place"] = _noted(
            time_in_place_figure(
                [time for time, _ in shown],
                until_h=until_h,
                check=result.check,
                numbers=_numbers([g for g in result.groups if g.time is not None], policy),
            ),
            steps,
        )
    if result.model is not None and result.model.fit is not None:
        found["forest"] = forest_figure(result.model, hidden=policy.threshold)
        if result.model.check is not None:
            found["ratios-by-day"] = by_day_figure(result.model.check, result.model.fit)
    if result.hazard is not None and result.hazard.curves:
        labels = {group.name: group.label for group in result.groups}
        curves = [replace(c, group=labels[c.group]) for c in result.hazard.curves]
        found["hazard"] = hazard_figure(curves)
    if result.hazard is not None and result.hazard.clock is not None:
        clock = result.hazard.clock
        if not bool(policy.is_small(clock.events).any()):
            found["clock-hour"] = clock_figure(clock)
    if result.pump is not None:
        hidden = [outcomes for outcomes, _ in pump_hidden(result.pump, policy)]
        rows = (*result.pump.rows, result.pump.all_rates)
        bars = [row for row, gone in zip(rows, hidden, strict=True) if row.catheters and not gone]
        if bars:
            found["pump"] = pump_figure(bars, left_out=any(hidden))
    return found


def _curves(group: Group) -> tuple[TimeInPlace, Incidence]:
    """Return a group's curves under its printed name, in the steps that may be read."""
    assert group.time is not None
    assert group.reasons is not None
    assert group.readable is not None
    return (
        replace(group.readable.time(group.time), group=group.label),
        replace(group.readable.incidence(group.reasons), group=group.label),
    )


def _noted(drawing: Drawing, note: str) -> Drawing:
    return replace(drawing, caption=drawing.caption + note)


def _numbers(groups: list[Group], policy: Policy) -> dict[str, list[int | None]]:
    at = [group.counts.at_risk_at(AT_RISK_HOURS) for group in groups]
    hidden = withheld_at_risk(policy, at)
    return {
        group.label or EVERYONE: [
            None if gone else int(n) for n, gone in zip(numbers, row, strict=True)
        ]
        for group, numbers, row in zip(groups, at, hidden, strict=True)
    }
