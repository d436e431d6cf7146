"""How soon a change of a measure would be seen, from its rate and volume of the last year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.analysis.charts.plan import Plan, plan_detection
from pipeline.answers.chart_rules import WATCH_MONTHS
from pipeline.answers.chart_series import COUNTED
from pipeline.answers.charts import measure_charts
from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure
from pipeline.measures.series import Where
from pipeline.settings import Settings
from pipeline.store import Store

COLUMNS = ("doubling", "halving", "rise")
# A commoner event on the way to a rarer one.
UPSTREAM = {
    "dislodgement": "dressing_failure", "early_removal": "dressing_failure",
    "falls_lower_limb": "limb_aid_given", "emergency_symptoms": "toxicity_symptoms",
    "redness_swelling": "dressing_failure", "serious_events": "toxicity_symptoms",
    "unplanned_visit": "family_calls",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class DetectionPlan:
    """How soon each chart of a measure would see a change.

    Attributes
    ----------
    measure : Measure
    plan : Plan
        Rate and volume are of what the measure counts against.
    per_catheter : float
        Of what it counts against, by one catheter: 1, or its mean catheter-days.
    """

    measure: Measure
    plan: Plan
    per_catheter: float

    @property
    def catheters(self) -> float:
        """Catheters a month."""
        return self.plan.volume / self.per_catheter

    @property
    def needed(self) -> float | None:
        """Catheters a month that would see a doubling within two years."""
        return None if self.plan.needed is None else self.plan.needed / self.per_catheter

    def frame(self) -> pl.DataFrame:
        """Return a row a chart: months to see a doubling, a halving and a rise by half."""
        schema = {"chart": pl.String, **dict.fromkeys(_names(), pl.Float64)}
        return pl.DataFrame(self._rows(), schema=schema)

    def as_json(self) -> dict[str, Any]:
        """Return what was assumed, a row a chart, and the sentences."""
        from pipeline.words.plan import plan_sentences

        plan = self.plan
        return {
            "measure": self.measure.name, "rate": plan.rate, "volume": plan.volume,
            "months_between_false_alarms": plan.false_alarm_months, "charts": self._rows(),
            "sentences": plan_sentences(self),
        }  # fmt: skip

    def _rows(self) -> list[dict[str, Any]]:
        return [
            {"chart": row.chart}
            | dict(zip(_names(), (_months(getattr(row, c)) for c in COLUMNS), strict=True))
            for row in self.plan.rows
        ]


def _names() -> list[str]:
    return [f"months_to_{column}" for column in COLUMNS]


def _months(value: float) -> float | None:
    return round(value, 1) if np.isfinite(value) else None


def measure_plan(
    store: Store, measure: Measure, *, sites: Sequence[str] = (), settings: Settings | None = None
) -> DetectionPlan:
    """Say how soon each chart of a measure would see a change of its rate.

    Parameters
    ----------
    store : Store
        An open store.
    measure : Measure
    sites : sequence of str
        Codes; all sites unless given.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    NoDataError
        There is no complete month, or a site is unknown.
    """
    settings = settings or Settings()
    where: Where = {"site": list(sites)} if sites else {}
    kind = COUNTED[measure.denominator_kind]
    (counted,) = measure_charts(store, [measure], kind=kind, where=where, settings=settings).charts
    chart = counted.chart
    recent = np.flatnonzero(chart.judged)[-12:]
    if not recent.size:
        raise NoDataError(f"No complete month of {measure.name} to plan from.")
    rate = float(chart.numerator[recent].sum() / chart.denominator[recent].sum())
    months = settings.in_control_run_length if measure.is_safety else WATCH_MONTHS
    found = plan_detection(rate, counted.monthly_volume, months=months,
                           proportion=measure.denominator_kind == "proportion")  # fmt: skip
    catheters = counted.monthly_catheters
    return DetectionPlan(measure, found, counted.monthly_volume / catheters if catheters else 1.0)
