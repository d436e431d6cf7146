"""How soon a change of a measure would be seen, from its rate and volume of the last year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.analysis.charts.plan import Plan, plan_detection
from pipeline.answers.chart_series import COUNTED
from pipeline.answers.charts import measure_charts
from pipeline.errors import NoDataError, UsageError
from pipeline.measures.catalogue import Measure
from pipeline.measures.series import Where
from pipeline.settings import Settings
from pipeline.store import Store


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

    def needed(self, volume: float | None) -> float | None:
        """Return a volume in whole catheters a month."""
        return None if volume is None else float(np.ceil(volume / self.per_catheter))

    def frame(self) -> pl.DataFrame:
        """Return a row a chart: months to a signal, months between false ones, volume needed."""
        return pl.DataFrame(self._rows(), infer_schema_length=None)

    def as_json(self) -> dict[str, Any]:
        """Return what was assumed, the chart that is soonest, and a row a chart."""
        soonest = self.plan.soonest.chart if self.plan.soonest else None
        about = {key: value for key, value in asdict(self.plan).items() if key != "rows"}
        return {"measure": self.measure.name, **about, "soonest": soonest, "charts": self._rows()}

    def _rows(self) -> list[dict[str, Any]]:
        return [
            {
                "chart": row.chart,
                "months_to_signal": _months(row.months),
                "months_between_false_signals": _months(row.false_signal_months),
                f"catheters_a_month_for_{self.plan.within:g}_months": self.needed(
                    row.volume_needed
                ),
            }
            for row in self.plan.rows
        ]


def _months(value: float) -> float | None:
    return round(value, 1) if np.isfinite(value) else None


def measure_plan(
    store: Store,
    measure: Measure,
    *,
    ratio: float = 2.0,
    within: float = 12.0,
    sites: Sequence[str] = (),
    settings: Settings | None = None,
) -> DetectionPlan:
    """Say how soon each chart of a measure would see a change of its rate.

    Parameters
    ----------
    store : Store
        An open store.
    measure : Measure
    ratio : float
        The change, of the rate.
    within : float
        Months within which it should be seen.
    sites : sequence of str
        Codes; all sites unless given.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    UsageError
        The rate leaves no room for the change.
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
    try:
        found = plan_detection(
            rate, counted.monthly_volume, ratio=ratio,
            proportion=measure.denominator_kind == "proportion",
            within=within, in_control_months=settings.in_control_run_length,
        )  # fmt: skip
    except ValueError as error:
        said = str(error)
        raise UsageError(f"{said[0].upper()}{said[1:]}.", try_next="--change halving") from None
    catheters = counted.monthly_catheters
    return DetectionPlan(measure, found, counted.monthly_volume / catheters if catheters else 1.0)
