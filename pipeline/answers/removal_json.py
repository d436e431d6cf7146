"""An answer on removal as JSON and as one table."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.analysis.survival.group_tests import Differences, GroupTest
from pipeline.analysis.survival.planned_end import FROM_END_HOURS, FromPlannedEnd
from pipeline.analysis.survival.pump import PumpRow, PumpTable
from pipeline.answers.removal_groups import RemovalGroup, RemovalTests
from pipeline.answers.removal_model_json import aft_mapping, model_mapping, rows_of
from pipeline.words.numbers import json_number

if TYPE_CHECKING:
    import polars as pl

    from pipeline.answers.removal import RemovalHazard, RemovalResult

EVERYONE = "all"


def removal_mapping(result: RemovalResult) -> dict[str, Any]:
    """Return the keys that scripts rely on; what was not asked for is absent."""
    found: dict[str, Any] = {
        "groups": [_group(group) for group in result.groups],
        "unknown_dwell": result.unknown,
        "interval_midpoints": result.midpoints,
    }
    if (check := result.check) is not None:
        found["interval_censored"] = {
            "method": "Turnbull estimate on (after, before] intervals, percentile bootstrap limits",
            "resamples": check.resamples,
            "still_in_place": rows_of(
                ("hour", "estimate", "lower", "upper"),
                (check.hours, check.estimate, check.lower, check.upper),
            ),
        }
    if result.tests is not None:
        found["tests"] = _tests(result.tests)
    if result.model is not None:
        found["model"] = model_mapping(result.model)
    if result.aft is not None:
        found["model"] = aft_mapping(result.aft)
    if result.hazard is not None:
        found["hazard"] = _hazard(result.hazard)
    if result.planned_end is not None:
        found["from_planned_end"] = [_from_end(curve) for curve in result.planned_end]
    if result.pump is not None:
        found["pump"] = _pump(result.pump)
    return found


def removal_frame(result: RemovalResult) -> pl.DataFrame:
    """Return one row a group, hour and curve; `reason` is null for still in place."""
    import polars as pl

    rows = []
    for group in result.groups:
        key = {"group": group.name or EVERYONE, "reason": None, "n": None, "se": None}
        rows += [key | at for at in _still(group)]
        rows += [key | {"estimate": at["incidence"]} | at for at in _reasons(group)]
    schema = {
        "group": pl.String, "reason": pl.String, "hour": pl.Float64, "n": pl.Int64,
        "estimate": pl.Float64, "se": pl.Float64, "lower": pl.Float64, "upper": pl.Float64,
    }  # fmt: skip
    return pl.DataFrame(({name: row[name] for name in schema} for row in rows), schema=schema)


def _group(group: RemovalGroup) -> dict[str, Any]:
    median = group.time.median
    found: dict[str, Any] = {
        "group": group.name or EVERYONE,
        "episodes": group.counts.episodes,
        "removed": group.counts.removed,
        "median_h": json_number(median.hours),
        "median_lower_h": json_number(median.lower),
        "median_upper_h": json_number(median.upper),
        "still_in_place": _still(group),
        "reasons": _reasons(group),
    }
    if (mean := group.mean) is not None and (lost := group.lost) is not None:
        found["restricted_mean"] = {
            name: json_number(value) for name, value in asdict(mean).items()
        }
        told = np.where(np.isfinite(mean.se), lost.se, np.nan)
        found["time_lost"] = [
            {"reason": reason} | row | {"until_h": mean.until_h}
            for reason, row in zip(
                lost.reasons, rows_of(("hours", "se"), (lost.hours, told)), strict=True
            )
        ]
    return found


def _from_end(curve: FromPlannedEnd) -> dict[str, Any]:
    at = curve.at(FROM_END_HOURS)
    names = ("hours_from_end", "n", "estimate", "lower", "upper")
    return {
        "planned_course": curve.group,
        "episodes": curve.catheters,
        "still_in_place": rows_of(names, (FROM_END_HOURS, at.n, at.estimate, at.lower, at.upper)),
    }


def _still(group: RemovalGroup) -> list[dict[str, Any]]:
    at = group.time.at(group.at_hours)
    curves = zip(at.hours, at.n, at.estimate, at.lower, at.upper, strict=True)
    return [
        {
            "hour": float(hour), "n": int(n), "estimate": json_number(estimate),
            "lower": json_number(lower), "upper": json_number(upper),
        }
        for hour, n, estimate, lower, upper in curves
    ]  # fmt: skip


def _reasons(group: RemovalGroup) -> list[dict[str, Any]]:
    at = group.reasons.at(group.at_hours)
    names = ("hour", "incidence", "se", "lower", "upper")
    return [
        {"reason": reason} | row
        for j, reason in enumerate(at.reasons)
        for row in rows_of(
            names, (at.hours, at.incidence[:, j], at.se[:, j], at.lower[:, j], at.upper[:, j])
        )
    ]


def _tests(tests: RemovalTests) -> dict[str, Any]:
    return {
        "log_rank": _test(tests.log_rank),
        "gray": [
            _test(test) | {"adjusted_p": json_number(p)}
            for test, p in zip(tests.gray, tests.adjusted_p, strict=True)
        ],
        "differences": [row for d in tests.differences for row in _difference(d)],
    }


def _test(test: GroupTest) -> dict[str, Any]:
    return {
        "test": test.name,
        "reason": test.reason,
        "groups": list(test.groups),
        "observed": [int(x) for x in test.observed],
        "expected": [float(x) for x in test.expected],
        "chi_square": json_number(test.chi_square),
        "degrees": test.degrees,
        "p": json_number(test.p_value),
        "note": test.note or None,
    }


def _difference(found: Differences) -> list[dict[str, Any]]:
    names = ("hour", "difference", "se", "lower", "upper", "p")
    columns = (
        found.hours, found.difference, found.se, found.lower, found.upper, found.p_value,
    )  # fmt: skip
    head = {"of": found.of.replace(" ", "_"), "first": found.first, "second": found.second}
    return [head | row for row in rows_of(names, columns)]


def _hazard(hazard: RemovalHazard) -> dict[str, Any]:
    names = ("hour", "hazard", "lower", "upper")
    found: dict[str, Any] = {
        "unit": "per 100 catheter-days",
        "by_hour": [
            {
                "group": curve.group or EVERYONE,
                "reason": curve.reason,
                "bandwidth_h": curve.bandwidth_h,
                "points": rows_of(names, (curve.hours, curve.hazard, curve.lower, curve.upper)),
            }
            for curve in hazard.curves
        ],
        "by_part": [
            {
                "part": part.part, "events": part.events, "catheter_days": part.catheter_days,
                "rate": json_number(part.rate), "lower": json_number(part.lower),
                "upper": json_number(part.upper),
            }
            for part in hazard.parts
        ],
    }  # fmt: skip
    if (clock := hazard.clock) is not None:
        rates = rows_of(("rate", "lower", "upper"), (clock.rate, clock.lower, clock.upper))
        counts = zip(clock.events.tolist(), clock.catheter_hours.tolist(), rates, strict=True)
        found["by_clock_hour"] = [
            {"clock_hour": hour, "events": events, "catheter_hours": hours} | rate
            for hour, (events, hours, rate) in enumerate(counts)
        ]
    return found


def _pump(table: PumpTable) -> dict[str, Any]:
    return {
        "rows": [_pump_row(row) for row in (*table.rows, table.all_rates)],
        "untold": table.all_rates.untold,
        "without_runtime": table.without_runtime,
    }


def _pump_row(row: PumpRow) -> dict[str, Any]:
    """Return a flow rate's row; `rate_ml_h` is null for all rates together."""
    found: dict[str, Any] = {
        "rate_ml_h": json_number(row.rate_ml_h),
        "catheters": row.catheters,
        "emptied_early": row.emptied_early,
        "together": row.together,
        "drug_left": row.drug_left,
    }
    for name in ("emptied_early", "drug_left"):
        for end, value in zip(("pct", "lower", "upper"), getattr(row, f"{name}_pct"), strict=True):
            found[f"{name}_{end}"] = json_number(value)
    for name in ("median_runtime_h", "median_dwell_h", "median_empty_h", "median_left_ml"):
        found[name] = json_number(getattr(row, name))
    return found
