"""Simulated quarters: findings of random measures, for tests of words and tables."""

import numpy as np

from pipeline.analysis.charts import Counts
from pipeline.analysis.charts.results import GAPS
from pipeline.analysis.charts.sight import sight
from pipeline.answers.chart_series import ChartSeries
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.findings import Finding, rate_of
from pipeline.answers.verdicts import judge
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.log import LoggedChange
from pipeline.measures.periods import months_between, months_of, quarter_before

QUARTER = "2025-Q4"
MONTHS = tuple(f"{year}-{month:02d}" for year in (2023, 2024, 2025) for month in range(1, 13))


def finding(measure, rng, *, quarter=QUARTER):
    """One measure's finding from invented counts: shifts, outliers and gaps."""
    months = MONTHS[-int(rng.choice([6, 18, 36])) :]
    volume = rng.poisson(rng.choice([0.4, 4, 40, 400]), len(months)).astype(float)
    rate = np.full(len(months), rng.choice([0.0, 0.02, 0.3, 1.0]))
    if rng.random() < 0.4:
        rate[-10:] *= rng.choice([0.2, 3.0])
    events = rng.binomial(volume.astype(int), np.clip(rate, 0, 1)).astype(float)
    provisional = np.zeros(len(months), bool)
    provisional[len(months) - int(rng.integers(0, 4)) :] = True
    counts = Counts(months, events, volume, provisional)
    if measure.charts[0].value in GAPS:
        happened = np.repeat(np.arange(len(months)), events.astype(int))
        counts = Counts(
            tuple(months[i] for i in happened),
            rng.exponential(20, len(happened)),
            np.ones(len(happened)),
            provisional[happened],
            months=counts,
        )
    before = quarter_before(quarter)
    series = ChartSeries(measure, "all", measure.charts[0].value, counts, (), 0.0, 0.0)
    (chart,), (earlier,) = draw_charts([series]), draw_charts([series], until=months_of(before)[1])
    quarters = tuple(
        rate_of(measure, q, _row(q, months, events, volume, rng))
        for q in (quarter_before(quarter, back) for back in range(7, -1, -1))
    )
    year = {"numerator": events[-15:-3].sum(), "denominator": volume[-15:-3].sum()}
    counted = {
        "episodes": int(volume.sum()),
        "ascertained": int(volume.sum()),
        "provisional": False,
    }
    better = measure.better
    return Finding(
        measure=measure,
        year_before=rate_of(measure, "year-before", year | counted),
        quarters=quarters,
        chart=chart,
        verdict=judge(chart, quarter, better),
        verdict_before=judge(earlier, before, better),
        sight=sight(chart.cusum),
        target=float(rng.choice([5.0, 80.0])) if rng.random() < 0.3 else None,
    )


def _row(quarter, months, events, volume, rng):
    inside = np.isin(months, months_between(*months_of(quarter)))
    if not inside.any():
        return None
    known = int(volume[inside].sum())
    return {
        "numerator": events[inside].sum(),
        "denominator": volume[inside].sum(),
        "episodes": known + int(rng.choice([0, 1, 30])),
        "ascertained": known,
        "provisional": bool(rng.random() < 0.2),
    }


def findings(seed, number=5):
    """Some measures of one simulated quarter, in the order of the report."""
    rng = np.random.default_rng(seed)
    measures = list(load_catalogue().values())
    chosen = sorted(rng.choice(len(measures), min(number, len(measures)), replace=False))
    return tuple(finding(measures[i], rng) for i in chosen)


def changes(seed):
    """Up to two logged changes of the quarter."""
    rng = np.random.default_rng(seed)
    started = months_of(QUARTER)[0]
    return [
        LoggedChange(
            "glue", started, "Skin entry glued", ("Avocet", "Curlew")[: int(rng.integers(0, 3))]
        )
        for _ in range(int(rng.integers(0, 3)))
    ]
