"""A plan in words: what was assumed, which chart sees soonest, and what would see sooner."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.analysis.charts.plan import LONG
from pipeline.words.numbers import figure, lower_first
from pipeline.words.silence import months_words

if TYPE_CHECKING:
    from pipeline.answers.plan import DetectionPlan

CHART_NAMES = {
    "cusum": "evidence added up month by month",
    "limits": "points beyond a limit",
    "gaps": "gaps between events",
}


def plan_sentences(found: DetectionPlan) -> list[str]:
    """Say what was assumed, what to remember, and what would see a change sooner."""
    plan, measure = found.plan, found.measure
    said = [
        f"{measure.title}: at present {figure(plan.rate * measure.multiplier)} {measure.unit}, "
        f"from about {found.catheters:,.0f} catheters a month."
    ]
    if not plan.rows:
        return [*said, "That leaves no room for events or for none, so it cannot be planned how "
                "soon a change would show: review every case."]  # fmt: skip
    what = "shortfall" if plan.is_of_shortfall else "rate"
    best = plan.rows[0]
    said.append(
        f"Remember: had the {what} doubled, {CHART_NAMES[best.chart]} would show it after about "
        f"{months_words(best.doubling)}, had it halved after about "
        f"{months_words(min(row.halving for row in plan.rows))}."
    )
    said.append(
        f"Every chart below gives one false alarm in {plan.false_alarm_months:g} months on each "
        "side, so that they compare."
    )
    return said if best.doubling <= LONG else [*said, _otherwise(found)]


def _otherwise(found: DetectionPlan) -> str:
    """Say what would see a doubling where no chart would within two years."""
    from pipeline.answers.plan import UPSTREAM
    from pipeline.measures.catalogue import find_measure

    ways = ["look at every case"]
    upstream = UPSTREAM.get(found.measure.name)
    if upstream is not None:
        title = lower_first(find_measure(upstream).title)
        ways.append(f"watch a commoner measure on the way to it, such as {title}")
    if found.needed is not None:
        ways.append(
            f"pool more sites, since about {found.needed:,.0f} catheters a month would show it "
            "within two years"
        )
    return f"None would show a doubling within two years: {'; '.join(ways)}."
