"""`dwell removal` as JSON, CSV and text."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from pipeline.analysis.survival.group_tests import Differences, GroupTest
from pipeline.analysis.survival.interval_censored import TurnbullCurve
from pipeline.analysis.survival.pump import PumpTable
from pipeline.cli.removal_groups import Group
from pipeline.cli.removal_model import model_mapping
from pipeline.cli.removal_numbers import count, number
from pipeline.cli.removal_pump import pump_rows
from pipeline.cli.removal_result import Hazard, RemovalResult
from pipeline.cli.removal_tests import Tests
from pipeline.disclosure import Policy

if TYPE_CHECKING:
    import polars as pl

EVERYONE = "all"


def as_json(result: RemovalResult, policy: Policy) -> dict[str, Any]:
    """Return the keys that scripts rely on; what was not asked for is absent."""
    found: dict[str, Any] = {
        "groups": [_group(group) for group in result.groups],
        "unknown_dwell": count(result.unknown, policy),
        "interval_midpoints": count(result.midpoints, policy),
    }
    if result.check is not None:
        found["interval_censored"] = _check(result.check)
    if result.tests is not None:
        found["tests"] = _tests(result.tests, policy)
    if result.model is not None:
        found["model"] = model_mapping(result.model, policy)
    if result.hazard is not None:
        found["hazard"] = _hazard(result.hazard, policy)
    if result.pump is not None:
        found["pump"] = _pump(result.pump, policy)
    return found


def as_frame(result: RemovalResult) -> pl.DataFrame:
    """Return one row a group, hour and curve; `reason` is null for still in place."""
    import polars as pl

    rows = []
    for group in result.groups:
        mapping = _group(group)
        for at in mapping["still_in_place"]:
            rows.append(_keys(group) | {"se": None} | at)
        for at in mapping["reasons"]:
            rows.append(_keys(group) | {"n": None, "estimate": at["incidence"]} | at)
    schema = {
        "group": pl.String, "reason": pl.String, "hour": pl.Float64, "n": pl.Int64,
        "estimate": pl.Float64, "se": pl.Float64, "lower": pl.Float64, "upper": pl.Float64,
        "withheld": pl.Boolean,
    }  # fmt: skip
    return pl.DataFrame(({name: row[name] for name in schema} for row in rows), schema=schema)


def _keys(group: Group) -> dict[str, Any]:
    return {"group": group.name or EVERYONE, "reason": None}


def _group(group: Group) -> dict[str, Any]:
    name = group.name or EVERYONE
    if group.time is None or group.reasons is None:
        return {
            "group": name, "episodes": None, "removed": None, "median_h": None,
            "still_in_place": [], "reasons": [], "withheld": True,
        }  # fmt: skip
    median = group.time.median
    found: dict[str, Any] = {
        "group": name,
        "episodes": group.counts.episodes,
        "removed": None if group.removed_withheld else group.counts.removed,
        "median_h": number(median.hours),
        "median_lower_h": number(median.lower),
        "median_upper_h": number(median.upper),
        "still_in_place": _still(group),
        "reasons": _reasons(group),
        "rare": list(group.pooled),
        "withheld": False,
    }
    if group.mean is not None and group.lost is not None:
        mean = group.mean
        found["restricted_mean"] = {
            "hours": mean.hours, "se": mean.se, "lower": mean.lower, "upper": mean.upper,
            "until_h": mean.until_h,
        }  # fmt: skip
        found["time_lost"] = [
            {"reason": reason, "hours": float(hours), "se": float(se), "until_h": mean.until_h}
            for reason, hours, se in zip(
                group.lost.reasons, group.lost.hours, group.lost.se, strict=True
            )
        ]
    return found


def _still(group: Group) -> list[dict[str, Any]]:
    assert group.time is not None
    assert group.readable is not None
    at, may = group.time.at(group.at_hours), group.readable.at(group.at_hours)[0]
    return [
        {
            "hour": float(hour),
            "n": None if group.n_withheld[i] else int(at.n[i]),
            **_figures(
                {"estimate": at.estimate[i], "lower": at.lower[i], "upper": at.upper[i]},
                may=bool(may[i]),
            ),
        }
        for i, hour in enumerate(at.hours)
    ]


def _reasons(group: Group) -> list[dict[str, Any]]:
    assert group.reasons is not None
    assert group.readable is not None
    at, may = group.reasons.at(group.at_hours), group.readable.at(group.at_hours)[1]
    curves = {"incidence": at.incidence, "se": at.se, "lower": at.lower, "upper": at.upper}
    return [
        {
            "reason": reason,
            "hour": float(hour),
            **_figures({k: v[i, j] for k, v in curves.items()}, may=bool(may[i, j])),
        }
        for j, reason in enumerate(at.reasons)
        for i, hour in enumerate(at.hours)
    ]


def _figures(values: dict[str, Any], *, may: bool) -> dict[str, Any]:
    """Return figures that may be shown, or nothing of them."""
    shown = {name: number(value) if may else None for name, value in values.items()}
    return shown | {"withheld": not may}


def _check(check: TurnbullCurve) -> dict[str, Any]:
    columns = (check.hours, check.estimate, check.lower, check.upper)
    return {
        "method": "Turnbull estimate on (after, before] intervals, percentile bootstrap limits",
        "resamples": check.resamples,
        "still_in_place": _rows(("hour", "estimate", "lower", "upper"), columns),
    }


def _rows(names: tuple[str, ...], columns: Iterable[Any]) -> list[dict[str, Any]]:
    return [
        dict(zip(names, (number(v) for v in row), strict=True))
        for row in zip(*columns, strict=True)
    ]


def _tests(tests: Tests, policy: Policy) -> dict[str, Any]:
    gray = [
        _test(test, policy) | {"adjusted_p": number(p)}
        for test, p in zip(tests.gray, tests.adjusted_p, strict=True)
    ]
    return {
        "log_rank": _test(tests.log_rank, policy),
        "gray": gray,
        "differences": [row for d in tests.differences for row in _difference(d)],
    }


def _test(test: GroupTest, policy: Policy) -> dict[str, Any]:
    # An expected count beside a withheld observed one would give the chi-square's away.
    hide = bool(policy.is_small(test.observed).any())
    return {
        "test": test.name,
        "reason": test.reason,
        "groups": list(test.groups),
        "observed": None if hide else [int(x) for x in test.observed],
        "expected": None if hide else [float(x) for x in test.expected],
        "chi_square": number(test.chi_square),
        "degrees": test.degrees,
        "p": number(test.p_value),
        "note": test.note or None,
    }


def _difference(found: Differences) -> list[dict[str, Any]]:
    names = ("hour", "difference", "se", "lower", "upper", "p")
    columns = (
        found.hours, found.difference, found.se, found.lower, found.upper, found.p_value,
    )  # fmt: skip
    head = {"of": found.of.replace(" ", "_"), "first": found.first, "second": found.second}
    return [head | row for row in _rows(names, columns)]


def _hazard(hazard: Hazard, policy: Policy) -> dict[str, Any]:
    names = ("hour", "hazard", "lower", "upper")
    found: dict[str, Any] = {
        "unit": "per 100 catheter-days",
        "by_hour": [
            {
                "group": curve.group or EVERYONE,
                "reason": curve.reason,
                "bandwidth_h": curve.bandwidth_h,
                "points": _rows(names, (curve.hours, curve.hazard, curve.lower, curve.upper)),
            }
            for curve in hazard.curves
        ],
        "by_part": [
            {
                "part": part.part, "events": count(part.events, policy),
                "catheter_days": part.catheter_days,
                **_shown(part.events, (part.rate, part.lower, part.upper), policy),
            }
            for part in hazard.parts
        ],
    }  # fmt: skip
    if hazard.clock is not None:
        clock = hazard.clock
        rates = zip(clock.rate, clock.lower, clock.upper, strict=True)
        found["by_clock_hour"] = [
            {
                "clock_hour": h, "events": count(int(n), policy),
                "catheter_hours": float(clock.catheter_hours[h]),
                **_shown(int(n), figures, policy),
            }
            for h, (n, figures) in enumerate(zip(clock.events, rates, strict=True))
        ]  # fmt: skip
    return found


def _shown(events: int, figures: tuple[float, float, float], policy: Policy) -> dict[str, Any]:
    """Return a rate with limits, null where its count is withheld."""
    hide = bool(policy.is_small(events))
    return {
        name: None if hide else number(value)
        for name, value in zip(("rate", "lower", "upper"), figures, strict=True)
    }


def _pump(table: PumpTable, policy: Policy) -> dict[str, Any]:
    return {
        "rows": pump_rows(table, policy),
        "untold": count(table.all_rates.untold, policy),
        "without_runtime": count(table.without_runtime, policy),
    }
