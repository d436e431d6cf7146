"""A plan in words: what was assumed, which chart is soonest, and what volume would do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.words.numbers import figure
from pipeline.words.silence import months_words

if TYPE_CHECKING:
    from pipeline.answers.plan import DetectionPlan

CHART_NAMES = {"cusum": "CUSUM", "run": "run chart"}
CHANGE_NAMES = {2.0: "a doubling", 0.5: "a halving", 1.5: "a 50% rise"}


def plan_sentences(found: DetectionPlan) -> list[str]:
    """Say what was assumed, which chart is soonest, and what volume would do."""
    plan, measure = found.plan, found.measure
    now = f"{figure(plan.rate * measure.multiplier)} {measure.unit}"
    said = [
        f"{measure.title}: at present {now}, from about {found.catheters:,.0f} catheters a month.",
        f"The change to see: {_change(found)}.",
    ]
    best = plan.soonest
    if best is None:
        return [*said, "No chart would be expected to see it without many false signals."]
    chart = CHART_NAMES.get(best.chart, f"{best.chart} chart")
    said.append(f"The {chart} would see it soonest, after about {months_words(best.months)}.")
    if best.volume_needed is not None:
        said.append(
            f"To see it within {months_words(plan.within)} on average, "
            f"{found.needed(best.volume_needed):,.0f} catheters a month would do."
        )
    return said


def _change(found: DetectionPlan) -> str:
    plan = found.plan
    is_shortfall = found.measure.denominator_kind == "proportion" and plan.rate > 0.5
    change = CHANGE_NAMES.get(plan.ratio, f"a change to {plan.ratio:g} times")
    return f"{change} of the {'shortfall' if is_shortfall else 'rate'}"
