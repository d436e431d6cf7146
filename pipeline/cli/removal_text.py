"""`dwell removal` as text: tables and sentences."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.survival.event_counts import Floats
from pipeline.analysis.survival.group_tests import Differences, GroupTest
from pipeline.cli.printing import table_lines
from pipeline.cli.removal_groups import Group
from pipeline.cli.removal_pump import pump_rows
from pipeline.cli.removal_result import RemovalResult
from pipeline.cli.removal_tests import Tests
from pipeline.disclosure import WITHHELD, Policy
from pipeline.words.codes import noun_of, words_of

NOT_REACHED = "not followed"
PARTS = {
    "first night": "In the first night",
    "later nights": "In later nights",
    "days": "By day",
}
FEWEST_TIMED = 20  # removals, to say at which hour they are most frequent
CALLED = 0.05  # an adjusted p below it is called a difference


def as_text(result: RemovalResult, policy: Policy) -> str:
    """Return every part that was asked for, one after the other."""
    parts = [_group(group) for group in result.groups]
    parts.append(_basis(result, policy))
    if result.check is not None:
        check = result.check
        read = [
            f"{100 * e:.1f}% at {h:g} h" for h, e in zip(check.hours, check.estimate, strict=True)
        ]
        parts.append(
            [f"Still in place by the Turnbull estimate from intervals: {', '.join(read)}."]
        )
    if result.tests is not None:
        parts.append(_tests(result.tests, result))
    if result.model is not None:
        from pipeline.words.removal_model import model_sentences

        parts.append(["", *model_sentences(result.model, policy.threshold)])
    if result.hazard is not None:
        parts.append(_hazard(result, policy))
    if result.pump is not None:
        parts.append(["", *_pump(pump_rows(result.pump, policy))])
    return "\n".join(line for part in parts for line in part)


def _group(group: Group) -> list[str]:
    name = group.label or "All catheters"
    if group.time is None or group.reasons is None:
        return [f"{name}: {WITHHELD}, because the number of children is small.", ""]
    removed = WITHHELD if group.removed_withheld else f"{group.counts.removed:,}"
    catheters = (
        "1 catheter" if group.counts.episodes == 1 else f"{group.counts.episodes:,} catheters"
    )
    head = f"{name}: {catheters}, {removed} known removed."
    return [head, *_summary(group), "", *table_lines(_table(group)), ""]


def _summary(group: Group) -> list[str]:
    assert group.time is not None
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
    if not np.isfinite(upper):
        return f"95% limits from {lower:g} h, the upper not reached"
    return f"95% limits {lower:g} to {upper:g} h"


def _table(group: Group) -> Any:
    """One column an hour, at most as many as were asked for."""
    import polars as pl

    assert group.time is not None
    assert group.reasons is not None
    assert group.readable is not None
    at, reasons = group.time.at(group.at_hours), group.reasons.at(group.at_hours)
    may, reasons_may = group.readable.at(group.at_hours)
    rows = [("number still in place", _numbers(group, at.n.tolist()))]
    rows.append(("still in place, %", _percent(at.estimate, at.lower, at.upper, may)))
    for j, reason in enumerate(reasons.reasons):
        columns = (reasons.incidence[:, j], reasons.lower[:, j], reasons.upper[:, j])
        rows.append((f"{words_of(reason)}, %", _percent(*columns, reasons_may[:, j])))
    hours = [f"{h:g} h" for h in group.at_hours]
    names = pl.Series("by", [name for name, _ in rows])
    cells = zip(*(cells for _, cells in rows), strict=True)
    return pl.DataFrame(
        [names, *(pl.Series(h, list(column)) for h, column in zip(hours, cells, strict=True))]
    )


def _numbers(group: Group, n: list[int]) -> list[str]:
    return [
        WITHHELD if gone else f"{count:,}" for count, gone in zip(n, group.n_withheld, strict=True)
    ]


def _percent(estimate: Floats, lower: Floats, upper: Floats, may: NDArray[np.bool_]) -> list[str]:
    return [
        _shown(*figures) if shown else WITHHELD
        for *figures, shown in zip(100 * estimate, 100 * lower, 100 * upper, may, strict=True)
    ]


def _shown(estimate: float, lower: float, upper: float) -> str:
    if not np.isfinite(estimate):
        return NOT_REACHED
    return f"{estimate:.1f} ({lower:.1f} to {upper:.1f})"


def _basis(result: RemovalResult, policy: Policy) -> list[str]:
    found = []
    if result.midpoints:
        found.append(
            f"{_said(result.midpoints, policy)} removals are known only as an interval and count "
            "at its middle."
        )
    if result.unknown:
        found.append(
            f"{_said(result.unknown, policy)} catheters of unknown dwell are not analysed."
        )
    if any(group.pooled for group in result.groups):
        found.append("Reasons with few children stand together as rare reasons.")
    return found


def _said(count: int, policy: Policy) -> str:
    return "A few" if bool(policy.is_small(count)) else f"{count:,}"


def _tests(tests: Tests, result: RemovalResult) -> list[str]:
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
    return f"{test.name} chi-square {test.chi_square:.2f} on {test.degrees}, {_p(test.p_value)}"


def _p(value: float) -> str:
    return "p < 0.001" if value < 0.001 else f"p = {value:.3f}"


def _difference(found: Differences, result: RemovalResult) -> str:
    rows = zip(found.hours, found.difference, found.lower, found.upper, strict=True)
    parts = [
        f"{100 * d:+.1f} at {h:g} h ({100 * lo:+.1f} to {100 * up:+.1f})"
        for h, d, lo, up in rows
        if np.isfinite(d)
    ]
    second, first = _label(result, found.second), _label(result, found.first)
    said = ", ".join(parts) or "not told"
    return f"{second} less {first}, {words_of(found.of)}, per 100: {said}."


def _hazard(result: RemovalResult, policy: Policy) -> list[str]:
    hazard, found = result.hazard, [""]
    assert hazard is not None
    for curve in hazard.curves:
        if curve.events < FEWEST_TIMED or not len(curve.hours):
            continue
        top = int(np.argmax(curve.hazard))
        name = f"{_label(result, curve.group)}: r" if curve.group else "R"
        found.append(
            f"{name}emoval for {noun_of(curve.reason)} is most frequent at "
            f"{curve.hours[top]:g} h: {curve.hazard[top]:.1f} per 100 catheter-days."
        )
    for part in hazard.parts:
        if not part.catheter_days:
            found.append(f"{PARTS[part.part]}: no catheter in place.")
            continue
        rate = f"{part.rate:.1f} ({part.lower:.1f} to {part.upper:.1f})"
        shown = WITHHELD if bool(policy.is_small(part.events)) else rate
        found.append(f"{PARTS[part.part]}: {shown} per 100 catheter-days.")
    return found


def _label(result: RemovalResult, name: str) -> str:
    return next(group.label for group in result.groups if group.name == name)


def _pump(rows: list[dict[str, Any]]) -> list[str]:
    import polars as pl

    def share(row: dict[str, Any], name: str) -> str:
        if row[f"{name}_pct"] is None:
            return WITHHELD
        ends = (row[f"{name}_pct"], row[f"{name}_lower"], row[f"{name}_upper"])
        return "{:.0f} ({:.0f} to {:.0f})".format(*ends)

    if rows[-1]["catheters"] == 0:
        return ["No pump has a flow rate, a filled volume and a known end."]
    frame = pl.DataFrame(
        [
            {
                "pump": "all rates" if row["rate_ml_h"] is None else f"{row['rate_ml_h']:g} ml/h",
                "catheters": WITHHELD if row["catheters"] is None else f"{row['catheters']:,}",
                "run-time, h": row["median_runtime_h"],
                "in place, h": row["median_dwell_h"],
                "empty before removal, %": share(row, "emptied_early"),
                "removed with drug left, %": share(row, "drug_left"),
            }
            for row in rows
        ]
    )
    return table_lines(frame)
