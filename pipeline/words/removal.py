"""An answer on removal in words: sentences, and tables for whoever prints them."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.analysis.survival.event_counts import Floats
from pipeline.analysis.survival.group_tests import Differences, GroupTest
from pipeline.analysis.survival.planned_end import FROM_END_HOURS, FromPlannedEnd
from pipeline.analysis.survival.pump import PumpRow, PumpTable
from pipeline.answers.removal import RemovalHazard, RemovalResult
from pipeline.answers.removal_groups import RemovalGroup, RemovalTests
from pipeline.words.codes import noun_of, words_of
from pipeline.words.imputed_model import imputed_words
from pipeline.words.numbers import count, p_value
from pipeline.words.removal_aft import aft_sentences
from pipeline.words.removal_model import calibration_table, frailty_table, model_sentences

NOT_REACHED = "not followed"
PARTS = {
    "first night": "In the first night",
    "later nights": "In later nights",
    "days": "By day",
}
FEWEST_TIMED = 20  # removals, to say at which hour they are most frequent
CALLED = 0.05  # an adjusted p below it is called a difference


def removal_words(result: RemovalResult) -> list[str | pl.DataFrame]:
    """Return every part that was asked for, one after the other: lines, and tables."""
    said = [part for group in result.groups for part in _group(group)]
    said += _basis(result)
    if (check := result.check) is not None:
        read = [
            f"{100 * e:.1f}% at {h:g} h" for h, e in zip(check.hours, check.estimate, strict=True)
        ]
        said.append(f"Still in place by the Turnbull estimate from intervals: {', '.join(read)}.")
    if result.tests is not None:
        said += _tests(result.tests, result)
    if result.model is not None:
        said += ["", *model_sentences(result.model)]
        if result.model.calibration:
            said += ["", calibration_table(result.model)]
        if result.model.frailty is not None:
            said += ["", frailty_table(result.model.frailty)]
        if (fit := result.model.fit) is not None and result.model.imputed is not None:
            ratios = (fit.hazard_ratio, fit.lower, fit.upper)
            said += ["", *imputed_words(result.model.imputed, ratios)]
    if result.aft is not None:
        said += ["", *aft_sentences(result.aft)]
        if result.aft.imputed is not None:
            said += ["", *imputed_words(result.aft.imputed, result.aft.fits[0].time_ratio)]
    if result.hazard is not None:
        said += _hazard(result.hazard, result)
    if result.planned_end:
        said += ["", "Still in place by hours from the planned end, %:"]
        said.append(pl.DataFrame([_from_end(curve) for curve in result.planned_end]))
    if result.pump is not None:
        said += ["", _pump(result.pump)]
    return said


def _group(group: RemovalGroup) -> list[str | pl.DataFrame]:
    name = group.label or "All catheters"
    catheters = count(group.counts.episodes, "catheter")
    head = f"{name}: {catheters}, {group.counts.removed:,} known removed."
    return [head, *_summary(group), "", _table(group), ""]


def _summary(group: RemovalGroup) -> list[str]:
    median = group.time.median
    found = ["Fewer than half are known to be out."]
    if np.isfinite(median.hours):
        found = [f"Half were out by {median.hours:g} h ({_range(median.lower, median.upper)})."]
    if group.mean is not None and group.lost is not None:
        mean = group.mean
        found.append(
            f"Mean {mean.hours:.1f} h in place of the first {mean.until_h:g} "
            f"({_range(round(mean.lower, 1), round(mean.upper, 1))})."
        )
        lost = sorted(zip(group.lost.hours, group.lost.reasons, strict=True), reverse=True)
        parts = [f"{words_of(r)} {h:.1f} h" for h, r in lost if h >= 0.05]
        if parts:
            found.append(f"Mean time lost before then: {', '.join(parts)}.")
    return found


def _range(lower: float, upper: float) -> str:
    if np.isfinite(lower) and np.isfinite(upper):
        return f"95% limits {lower:g} to {upper:g} h"
    if np.isfinite(lower):
        return f"95% limits from {lower:g} h, the upper not reached"
    return "no limits: too few came out to tell how far it could be off"


def _table(group: RemovalGroup) -> pl.DataFrame:
    """One column an hour, at most as many as were asked for."""
    at, reasons = group.time.at(group.at_hours), group.reasons.at(group.at_hours)
    rows = [
        ["number still in place", *(f"{n:,}" for n in at.n.tolist())],
        ["still in place, %", *_percent(at.estimate, at.lower, at.upper)],
    ]
    for j, reason in enumerate(reasons.reasons):
        columns = (reasons.incidence[:, j], reasons.lower[:, j], reasons.upper[:, j])
        rows.append([f"{words_of(reason)}, %", *_percent(*columns)])
    return pl.DataFrame(rows, schema=["by", *(f"{h:g} h" for h in group.at_hours)], orient="row")


def _percent(estimate: Floats, lower: Floats, upper: Floats) -> list[str]:
    return [
        f"{e:.1f} ({lo:.1f} to {up:.1f})" if np.isfinite(e) else NOT_REACHED
        for e, lo, up in zip(100 * estimate, 100 * lower, 100 * upper, strict=True)
    ]


def _basis(result: RemovalResult) -> list[str]:
    found = []
    if result.midpoints:
        removals = count(result.midpoints, "removal")
        found.append(f"Known only as an interval, and counted at its middle: {removals}.")
    if result.unknown:
        found.append(f"Not analysed: {count(result.unknown, 'catheter')} of unknown dwell.")
    return found


def _tests(tests: RemovalTests, result: RemovalResult) -> list[str]:
    found = ["", f"Time in place between groups: {_test(tests.log_rank)}."]
    for test, adjusted in zip(tests.gray, tests.adjusted_p, strict=True):
        reason = words_of(str(test.reason))
        called = "; called different" if adjusted < CALLED else ""
        found.append(f"Incidence of {reason}: {_test(test)}{called}.")
    found.append("Called different: at a false discovery rate of 5% over the reasons compared.")
    return [*found, *(_difference(d, result) for d in tests.differences)]


def _test(test: GroupTest) -> str:
    if test.note:
        return test.note
    return (
        f"{test.name} chi-square {test.chi_square:.2f} on {test.degrees}, {p_value(test.p_value)}"
    )


def _difference(found: Differences, result: RemovalResult) -> str:
    rows = zip(found.hours, found.difference, found.lower, found.upper, strict=True)
    parts = [
        f"{100 * d:+.1f} at {h:g} h ({100 * lo:+.1f} to {100 * up:+.1f})"
        for h, d, lo, up in rows
        if np.isfinite(d)
    ]
    second, first = result.label(found.second), result.label(found.first)
    said = ", ".join(parts) or "not told"
    return f"{second} less {first}, {words_of(found.of)}, per 100: {said}."


def _hazard(hazard: RemovalHazard, result: RemovalResult) -> list[str]:
    found = [""]
    for curve in hazard.curves:
        if curve.events < FEWEST_TIMED or not len(curve.hours):
            continue
        top = int(np.argmax(curve.hazard))
        name = f"{result.label(curve.group)}: r" if curve.group else "R"
        found.append(
            f"{name}emoval for {noun_of(curve.reason)} is most frequent at "
            f"{curve.hours[top]:g} h: {curve.hazard[top]:.1f} per 100 catheter-days."
        )
    for part in hazard.parts:
        if not part.catheter_days:
            found.append(f"{PARTS[part.part]}: no catheter in place.")
            continue
        rate = f"{part.rate:.1f} ({part.lower:.1f} to {part.upper:.1f})"
        found.append(f"{PARTS[part.part]}: {rate} per 100 catheter-days.")
    return found


def _from_end(curve: FromPlannedEnd) -> dict[str, str]:
    at = curve.at(FROM_END_HOURS)
    hours = [f"{h:+g} h" if h else "planned end" for h in FROM_END_HOURS]
    read = zip(hours, _percent(at.estimate, at.lower, at.upper), strict=True)
    return {"course": f"{curve.group} ({curve.catheters:,})"} | dict(read)


def _pump(table: PumpTable) -> str | pl.DataFrame:
    if table.all_rates.catheters == 0:
        return "No pump has a flow rate, a filled volume and a known end."
    return pl.DataFrame([_pump_row(row) for row in (*table.rows, table.all_rates)])


def _pump_row(row: PumpRow) -> dict[str, str | float | None]:
    def share(ends: tuple[float, float, float]) -> str:
        return "{:.0f} ({:.0f} to {:.0f})".format(*ends) if row.catheters else NOT_REACHED

    def hours(value: float) -> float | None:
        return round(value, 2) if np.isfinite(value) else None

    return {
        "pump": f"{row.rate_ml_h:g} ml/h" if np.isfinite(row.rate_ml_h) else "all rates",
        "catheters": f"{row.catheters:,}",
        "run-time, h": hours(row.median_runtime_h),
        "in place, h": hours(row.median_dwell_h),
        "empty before removal, %": share(row.emptied_early_pct),
        "removed with drug left, %": share(row.drug_left_pct),
    }
