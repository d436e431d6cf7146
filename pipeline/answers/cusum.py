"""A CUSUM of one measure: slow drifts, against the baseline or against case mix."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.analysis.charts import ControlChart
from pipeline.analysis.charts.cusum import (
    DOWN,
    UP,
    CusumSide,
    Risk,
    expected_delay,
    false_signal,
    monthly_cusum,
)
from pipeline.analysis.charts.expected import MONTH, Fitted, fitted_risk
from pipeline.analysis.charts.point_models import baseline_rate
from pipeline.analysis.comparison.pattern_counts import Cells
from pipeline.answers.chart_series import COUNTED
from pipeline.answers.charts import measure_charts
from pipeline.errors import UsageError
from pipeline.measures.catalogue import Measure
from pipeline.measures.dimensions import case_mix_terms
from pipeline.measures.patterns import pattern_frames
from pipeline.measures.series import Where
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    from pipeline.figures.look import Drawing


@dataclass(frozen=True, eq=False)
class MeasureCusum:
    """Both sides of one measure's CUSUM, over the months of an ordinary chart.

    Attributes
    ----------
    measure : Measure
    chart : ControlChart
        Counts by month against the baseline.
    risk : Risk
        What was expected of each month.
    up, down : CusumSide
        For a doubling and for a halving.
    terms : tuple of str
        The case mix allowed for; none where the baseline's rate is expected.
    in_control_months : float
        Stated months to a false signal on each side.
    """

    measure: Measure
    chart: ControlChart
    risk: Risk
    up: CusumSide
    down: CusumSide
    terms: tuple[str, ...]
    in_control_months: float

    @cached_property
    def delays(self) -> tuple[float, float]:
        """Expected months until each side sees its change, at the volume of the last year."""
        recent = np.flatnonzero(self.chart.judged & self.risk.leaves_room)[-12:]
        return (expected_delay(self.risk, recent, self.up),
                expected_delay(self.risk, recent, self.down))  # fmt: skip

    @cached_property
    def false_signal(self) -> float:
        """Chance of at least one false signal over the months judged."""
        return false_signal(self.risk, (self.up, self.down), self.chart.judged)

    @property
    def signals(self) -> list[tuple[str, int]]:
        """Side ("above" or "below") and month of each signal, in time order."""
        sides = (("above", self.up), ("below", self.down))
        found = [(way, i) for way, side in sides for i in side.signals]
        return sorted(found, key=lambda one: one[1])

    def frame(self) -> pl.DataFrame:
        """Return a row a month: counts, what was expected, both paths and their limits."""
        rows = [p | {"signals": ", ".join(p["signals"])} for p in self._points()]
        return pl.DataFrame(rows, infer_schema_length=None)

    def figure(self) -> Drawing:
        """Return both sides on one time axis."""
        from pipeline.figures.cusum import cusum_figure
        from pipeline.figures.look import standalone
        from pipeline.words.cusum import cusum_headline, cusum_sentences

        caption = " ".join(cusum_sentences(self)[-3:])
        return standalone(
            cusum_figure(self.chart, self.up, self.down, cusum_headline(self), caption)
        )

    def as_json(self) -> dict[str, Any]:
        """Return the CUSUM with the keys of every chart; the lower side is drawn downwards."""
        from pipeline.words.cusum import cusum_signal_sentence

        return {
            "measure": self.measure.name,
            "chart": "cusum",
            "unit": "log-likelihood ratio",
            "centre": 0.0,
            "adjusted_for": list(self.terms),
            "phases": [],
            "points": self._points(),
            "signals": [
                {"kind": "beyond_limit", "direction": way, "first": self.chart.periods[i],
                 "last": self.chart.periods[i], "points": [self.chart.periods[i]],
                 "sentence": cusum_signal_sentence(self, way, i)}
                for way, i in self.signals
            ],
            "detectability": {
                "in_control_months": self.in_control_months,
                "false_signal": round(self.false_signal, 6),
                "method": "exact",
                "false_signal_method": "simulated",
                "expected_months": [
                    {"ratio": side.ratio, "months": round(months, 3)}
                    for side, months in zip((self.up, self.down), self.delays, strict=True)
                ],
            },
        }  # fmt: skip

    def _points(self) -> list[dict[str, Any]]:
        return [self._point(i) for i in range(len(self.chart))]

    def _point(self, i: int) -> dict[str, Any]:
        from pipeline.words.numbers import json_number

        chart, fired = self.chart, i in {*self.up.signals, *self.down.signals}
        return {
            "period": chart.periods[i],
            "numerator": json_number(chart.numerator[i]),
            "denominator": json_number(chart.denominator[i]),
            "expected": json_number(self.risk.expected[i]),
            "value": json_number(self.up.path[i]),
            "value_down": json_number(0.0 - self.down.path[i]),
            "centre": 0.0,
            "lower": json_number(-self.down.limit[i]),
            "upper": json_number(self.up.limit[i]),
            "signals": ["beyond_limit"] if fired else [],
            "provisional": bool(chart.provisional[i]),
        }


def measure_cusum(
    store: Store,
    measure: Measure,
    *,
    adjust: bool = False,
    where: Where | None = None,
    settings: Settings | None = None,
) -> MeasureCusum:
    """Follow one measure month by month.

    Parameters
    ----------
    store : Store
        An open store.
    measure : Measure
    adjust : bool
        Expect what a model of the baseline's case mix expects of each month's own
        children, in place of the baseline's rate.
    where : mapping, optional
        As for :func:`pipeline.measures.series.series`.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    UsageError
        The measure leaves no room for events, or for none.
    NoDataError
        No episode is left.
    """
    settings = settings or Settings()
    kind = COUNTED[measure.denominator_kind]
    (charted,) = measure_charts(store, [measure], kind=kind, where=where, settings=settings).charts
    chart, run = charted.chart, settings.in_control_run_length
    events = np.where(chart.judged, chart.numerator, np.nan)
    try:
        fitted = (
            _case_mix(store, measure, chart, where, settings) if adjust else _level(measure, chart)
        )
        up, down = (
            monthly_cusum(events, fitted.risk, ratio=ratio, in_control_months=run,
                          limit_set=chart.limit_set)
            for ratio in (UP, DOWN)
        )  # fmt: skip
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    return MeasureCusum(measure, chart, fitted.risk, up, down, fitted.terms, run)


def _level(measure: Measure, chart: ControlChart) -> Fitted:
    """Return the baseline's rate as every catheter's risk."""
    rate = np.nan_to_num(baseline_rate(chart))
    proportion = measure.denominator_kind == "proportion"
    return Fitted(Risk.alike(chart.denominator, rate, proportion=proportion), ())


def _case_mix(
    store: Store, measure: Measure, chart: ControlChart, where: Where | None, settings: Settings
) -> Fitted:
    """Return the risk of each month's own children by a model of the baseline."""
    terms = case_mix_terms(measure)
    factors = [MONTH, *terms]
    frames = pattern_frames(store, [measure], factors, where=where, settings=settings)
    cells = Cells.from_frame(frames.cells, factors)
    ((_, sums),) = frames.measures
    return fitted_risk(
        cells.counts(sums["cell"].to_numpy(), sums), chart.periods, chart.baseline,
        chart.limit_set, terms=terms, kind=measure.denominator_kind,
    )  # fmt: skip
