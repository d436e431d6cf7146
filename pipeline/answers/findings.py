"""The findings of a quarter: each measure's rates, control chart and verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import polars as pl

from pipeline.analysis.charts import ControlChart
from pipeline.analysis.charts.sight import Sight, sight
from pipeline.analysis.rates.rates import LOW_ASCERTAINMENT, rates, sensitivity
from pipeline.answers.chart_series import ChartSeries, read_series
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.verdicts import QUIET, Verdict, judge, of_signals, with_sight
from pipeline.measures.catalogue import Measure, measures_in_force
from pipeline.measures.clustering import clustering_by_child
from pipeline.measures.counting import ALL
from pipeline.measures.periods import EARLIEST, months_of, quarter_before
from pipeline.measures.series import series
from pipeline.measures.signal_log import KeptList, LoggedSignal, State, kept_list, states
from pipeline.settings import Settings
from pipeline.store import Store

QUARTERS_SHOWN = 8
YEAR_PARTS = ("numerator", "denominator", "episodes", "ascertained")
CHANGES_ASKED = (2.0, 0.5)  # changes in a rate of which it is told when they would show


@dataclass(frozen=True, slots=True)
class Rate:
    """A measure's rate in one period, with what it is made of.

    `rate`, `lower` and `upper` are in the measure's unit and NaN where the
    denominator is zero. `if_none` and `if_all` are the rate had none, or all, of the
    missing had the event.
    """

    period: str
    numerator: float
    denominator: float
    episodes: int
    ascertained: int
    rate: float
    lower: float
    upper: float
    provisional: bool = False
    if_none: float = float("nan")
    if_all: float = float("nan")

    @property
    def has_figures(self) -> bool:
        """There is something to print."""
        return self.denominator > 0

    @property
    def ascertainment(self) -> float:
        """Episodes of known numerator ÷ episodes; NaN without episodes."""
        return self.ascertained / self.episodes if self.episodes else float("nan")


@dataclass(frozen=True, slots=True)
class Finding:
    """One measure in one quarter: its figures, its chart and its verdict.

    Attributes
    ----------
    measure : Measure
        Its card.
    quarters : tuple of Rate
        The last eight quarters, the quarter itself last.
    year_before : Rate
        The four quarters before it together.
    chart : ControlChart
        Up to the quarter's last month.
    verdict, verdict_before : Verdict
        Of this quarter, and of the one before: as the list of signals kept at its time
        had it, or as today's records show it where none was kept.
    target : float or None
        In the measure's unit.
    sight : Sight or None
        What the chart can and cannot see.
    """

    measure: Measure
    quarters: tuple[Rate, ...]
    year_before: Rate
    chart: ControlChart
    verdict: Verdict
    verdict_before: Verdict
    target: float | None = None
    sight: Sight | None = None

    @property
    def now(self) -> Rate:
        """The quarter's rate."""
        return self.quarters[-1]

    @property
    def months_to_doubling(self) -> float:
        """Expected months until a doubling would be watched; NaN where not known."""
        return self.sight.months(2.0) if self.sight else float("nan")

    @property
    def state(self) -> State | Literal[""]:
        """Whether what the verdict names is new this quarter, goes on, or has ended."""
        if self.verdict.is_signal:
            found, _ = states(self.verdict.named, self.verdict_before.signals)
            return "new" if "new" in found else "continuing"
        return "ended" if self.ended else ""

    @property
    def ended(self) -> tuple[LoggedSignal, ...]:
        """The signals of the quarter before that are no more; none where nothing is judged."""
        if not (self.verdict.is_signal or self.verdict.kind in QUIET):
            return ()
        return tuple(states(self.verdict.signals, self.verdict_before.signals)[1])

    @property
    def is_poorly_known(self) -> bool:
        """Known for so few that the range of what it could be stands beside the rate."""
        return self.now.has_figures and self.now.ascertainment < LOW_ASCERTAINMENT

    @property
    def number_id(self) -> str:
        """Id of this quarter's figure."""
        return f"{self.measure.name}/{self.now.period}"

    @property
    def year_before_id(self) -> str:
        """Id of the figure of the four quarters before."""
        return f"{self.measure.name}/year-before"


def quarter_findings(store: Store, quarter: str, settings: Settings) -> tuple[Finding, ...]:
    """Return every measure's figures, chart and verdict up to a quarter.

    Raises
    ------
    UsageError
        `quarter` is none.
    NoDataError
        The store holds no episode up to it.
    """
    measures = measures_in_force(settings)
    before = quarter_before(quarter)
    months = (EARLIEST, months_of(quarter)[1])
    clusters = clustering_by_child(store, measures, settings)
    by_quarter = series(
        store, measures, ("quarter",), months=months, settings=settings
    ).with_columns(dispersion=pl.col("measure").replace_strict(clusters))
    parts = read_series(store, measures, months=months, settings=settings)
    now, then = draw_charts(parts), draw_charts(parts, until=months_of(before)[1])
    kept = kept_list(store, before)
    return tuple(
        _finding(
            part,
            chart,
            quarter,
            by_quarter.filter(pl.col("measure") == part.measure.name),
            verdict_before=_verdict_before(part.measure, chart, earlier, before, kept),
            target=settings.targets.get(part.measure.name, part.measure.target),
        )
        for part, chart, earlier in zip(parts, now, then, strict=True)
    )


def _finding(
    part: ChartSeries,
    chart: ControlChart,
    quarter: str,
    rows: pl.DataFrame,
    *,
    verdict_before: Verdict,
    target: float | None,
) -> Finding:
    measure = part.measure
    seen = sight(chart.cusum, ratios=CHANGES_ASKED) if chart.cusum else None
    verdict = judge(chart, quarter, measure.better, measure.name)
    counts = {row["quarter"]: row for row in rows.to_dicts()}
    return Finding(
        measure=measure,
        quarters=last_quarters(measure, quarter, counts),
        year_before=_year_before(measure, quarter, counts),
        chart=chart,
        verdict=with_sight(verdict, seen.months(2.0) if seen else float("inf")),
        verdict_before=verdict_before,
        target=target,
        sight=seen,
    )


def _verdict_before(
    measure: Measure, chart: ControlChart, earlier: ControlChart, before: str, kept: KeptList | None
) -> Verdict:
    """Return what was listed a quarter ago; where nothing was, what would have been."""
    if kept is None:
        return judge(earlier, before, measure.better, measure.name)
    listed = [s for s in kept.signals if (s.measure, s.site) == (measure.name, ALL)]
    return of_signals(listed, measure.better, rare=chart.is_of_gaps)


def last_quarters(
    measure: Measure, quarter: str, counts: Mapping[str, Mapping[str, Any]]
) -> tuple[Rate, ...]:
    """Return the last eight quarters; those before the records have no figures."""
    periods = [quarter_before(quarter, back) for back in range(QUARTERS_SHOWN - 1, -1, -1)]
    return tuple(rate_of(measure, period, counts.get(period)) for period in periods)


def _year_before(measure: Measure, quarter: str, counts: Mapping[str, Mapping[str, Any]]) -> Rate:
    """Return the four quarters before together."""
    periods = [quarter_before(quarter, back) for back in range(1, 5)]
    rows: Sequence[Mapping[str, Any]] = [counts[p] for p in periods if p in counts]
    total: dict[str, Any] = {part: sum(row[part] for row in rows) for part in YEAR_PARTS}
    total |= {"provisional": False, "dispersion": rows[0].get("dispersion", 1.0) if rows else 1.0}
    return rate_of(measure, "year-before", total if rows else None)


def rate_of(measure: Measure, period: str, row: Mapping[str, Any] | None) -> Rate:
    """Return a rate with limits from a row of counts; no figures where there is none."""
    nan = float("nan")
    if row is None or not row["denominator"] > 0:
        episodes = row["episodes"] if row else 0
        return Rate(period, 0.0, 0.0, episodes, 0, nan, nan, nan)
    found = rates(
        row["numerator"],
        row["denominator"],
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
        dispersion=row.get("dispersion", 1.0),
    )
    missing = sensitivity(
        row["numerator"],
        row["denominator"],
        row["episodes"] - row["ascertained"],
        row.get("missing_denominator", 0.0),
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
    )
    return Rate(
        period=period,
        numerator=float(row["numerator"]),
        denominator=float(row["denominator"]),
        episodes=int(row["episodes"]),
        ascertained=int(row["ascertained"]),
        rate=float(found.rate),
        lower=float(found.lower),
        upper=float(found.upper),
        provisional=bool(row["provisional"]),
        if_none=float(missing.all_without),
        if_all=float(missing.all_with),
    )
