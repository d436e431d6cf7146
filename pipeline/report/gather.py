"""Everything that the quarterly report is made from, collected once from the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.analysis.charts import ControlChart, Counts
from pipeline.analysis.charts.detectability import detectability
from pipeline.analysis.charts.results import GAPS
from pipeline.analysis.rates.rates import rates, sensitivity
from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.measures.log import LoggedChange
from pipeline.measures.periods import months_of
from pipeline.measures.series import series
from pipeline.measures.signal_log import KeptList, kept_list
from pipeline.report.findings import Finding, Rate, Verdict
from pipeline.report.front import Facts
from pipeline.report.gather_charts import chart_kind, counts_of, make_chart, rare_counts
from pipeline.report.signals_section import Basis
from pipeline.report.verdicts import NETWORK, judge, judge_kept, turned, with_sight
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words import numbers as words

if TYPE_CHECKING:
    import polars as pl

QUARTERS_SHOWN = 8
ASKED = (2.0, 0.5)  # changes in a rate of which the report says when they would show


def findings(
    store: Store,
    quarter: str,
    settings: Settings,
    changes: Sequence[LoggedChange],
) -> tuple[Finding, ...]:
    """Return every measure's figures, chart and verdict up to a quarter."""
    measures = list(load_catalogue().values())
    kept = kept_list(store, words.quarter_before(quarter))
    span = ("0001-01", months_of(quarter)[1])
    monthly = series(store, measures, ("month",), months=span, settings=settings)
    by_quarter = series(store, measures, ("quarter",), months=span, settings=settings)
    found = []
    for measure in measures:
        those = [c for c in changes if c.concerns(measure.name)]
        months = monthly.filter(monthly["measure"] == measure.name)
        quarters = by_quarter.filter(by_quarter["measure"] == measure.name)
        kind = chart_kind(measure, months)
        is_rare = kind in GAPS
        counts = (
            rare_counts(store, measure, span, settings) if is_rare else counts_of(months, "month")
        )
        made = _Series(measure, kind, quarter, months, quarters, counts, those, kept)
        found.append(made.finding(settings.targets.get(measure.name, measure.target)))
    return tuple(found)


def signals_before(store: Store, quarter: str) -> Basis:
    """Return what the signals of a quarter are compared with."""
    before = words.quarter_before(quarter)
    kept = kept_list(store, before)
    return Basis(before, kept.as_of.isoformat() if kept else "")


@dataclass(frozen=True, eq=False)
class _Series:
    """One measure's series, on the way to its finding."""

    measure: Measure
    kind: str
    quarter: str
    months: pl.DataFrame
    quarters: pl.DataFrame
    counts: Counts
    changes: Sequence[LoggedChange]
    kept_before: KeptList | None

    def finding(self, target: float | None) -> Finding:
        """Judge the series."""
        chart = self._chart(self.counts)
        shown = self._rates()
        sight = detectability(chart, ratios=ASKED, monthly_volume=self._monthly_volume())
        verdict = self._judged(chart, self.quarter)
        return Finding(
            measure=self.measure,
            now=shown[-1],
            year_before=self._year_before(),
            quarters=shown,
            verdict=with_sight(verdict, sight.delays[0].months),
            verdict_before=self._verdict_before(chart),
            chart=chart,
            shown=chart,
            target=target,
            sight=sight,
        )

    def _monthly_volume(self) -> float | None:
        """Return catheters, or catheter-days, a month over the last year."""
        volume = self.months["denominator"].tail(12).mean()
        return float(volume) if isinstance(volume, float) and volume > 0 else None

    def _chart(self, counts: Counts) -> ControlChart:
        return make_chart(self.measure, counts, self.changes, self.kind)

    def _judged(self, chart: ControlChart, quarter: str) -> Verdict:
        return judge(chart, quarter, self.measure.better.value, self.measure.name)

    def _verdict_before(self, chart: ControlChart) -> Verdict:
        """Return what was listed a quarter ago; where nothing was, what would have been."""
        if self.kept_before is not None:
            whose = (self.measure.name, NETWORK)
            kept = [s for s in self.kept_before.signals if (s.measure, s.site) == whose]
            if self.kind != self.measure.charts[0].value:
                kept = turned(kept)  # the list speaks of gaps, and this chart of counts
            return judge_kept(kept, chart, self.measure.better.value)
        before = words.quarter_before(self.quarter)
        earlier = self._chart(self.counts.until(months_of(before)[1]))
        return self._judged(earlier, before)

    def _rates(self) -> tuple[Rate, ...]:
        """Return the last eight quarters; those before the records have no figures."""
        rows = {row["quarter"]: row for row in self.quarters.to_dicts()}
        span = range(QUARTERS_SHOWN - 1, -1, -1)
        periods = [words.quarter_before(self.quarter, back) for back in span]
        return tuple(rate_of(self.measure, q, rows.get(q)) for q in periods)

    def _year_before(self) -> Rate:
        """Return the four quarters before together."""
        periods = {words.quarter_before(self.quarter, back) for back in range(1, 5)}
        rows = [row for row in self.quarters.to_dicts() if row["quarter"] in periods]
        parts = ("numerator", "denominator", "episodes", "ascertained")
        total = {part: sum(row[part] for row in rows) for part in parts}
        row = total | {"provisional": False} if rows else None
        return rate_of(self.measure, "year-before", row)


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


def facts(
    store: Store, quarter: str, settings: Settings, *, audience: str, small_cell: int
) -> Facts:
    """Return the size of a quarter and what its figures are made from."""
    ((sites, catheters, days, unknown),) = store.rows(
        "select count(distinct site), count(*), coalesce(sum(catheter_days), 0),"
        " count(case when not is_dwell_known then 1 end)"
        " from episode_dwell where placed_quarter = ?",
        [quarter],
    )
    ((contacts, reached),) = store.rows(
        "select count(*), count(case when contact.reached then 1 end) from contact"
        " inner join episode_dwell using (episode_id)"
        " where contact.direction = 'service' and placed_quarter = ?",
        [quarter],
    )
    ((waiting,),) = store.rows("select count(*) from set_aside where cleared_by is null")
    return Facts(
        quarter=quarter,
        network=settings.network,
        sites=sites,
        catheters=catheters,
        catheter_days=round(float(days), 6),
        unknown_dwell=unknown,
        contacts=contacts,
        reached=reached,
        set_aside=waiting,
        fingerprint=store.fingerprint(),
        as_of=store.as_of().isoformat(),
        audience=audience,
        small_cell=small_cell,
    )
