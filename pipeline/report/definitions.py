"""Definitions from the measures' cards, and the cautions."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.measures.catalogue import Better, Measure
from pipeline.report.markdown import prose
from pipeline.words.cautions import FOR_FAMILIES

_KIND = {"outcome": "Outcome", "process": "Process", "balancing": "Balancing"}


def definition(measure: Measure, target: float | None) -> str:
    """Return one measure's card as a definition list entry."""
    kind = _KIND[measure.kind.value]
    aim = f" Target {target:g}." if target is not None else ""
    text = (
        f"{kind} measure, {measure.unit}; {_better(measure)} is better. "
        f"Counted: {measure.numerator}. Against: {measure.denominator}. "
        f"Left out: {measure.leaves_out}. "
        f"Chart: {' or '.join(chart.value for chart in measure.charts)}. "
        f"A month is provisional until {_until(measure)}.{aim}"
    )
    return f"{prose(measure.title)}\n\n:   {prose(text)}"


def _better(measure: Measure) -> str:
    return "no direction" if measure.better is Better.NEITHER else measure.better.value


def _until(measure: Measure) -> str:
    return f"{measure.follow_up_h:g} h after its end" if measure.follow_up_h else "its end"


def definitions(measures: Iterable[Measure], targets: dict[str, float | None]) -> str:
    """Return the definition list of all measures."""
    return "\n\n".join(definition(measure, targets.get(measure.name)) for measure in measures)


CAUTIONS = (
    "These figures are aggregated and observational. They describe catheters, not one child, "
    "and are not for the care of any one child.",
    "A difference between two periods, sites or surgeon types is an association. It can come "
    "from case mix, from how events are recorded, or from chance.",
    *FOR_FAMILIES,
    "Ceilings on doses stand here for counting only, not for dosing.",
)
