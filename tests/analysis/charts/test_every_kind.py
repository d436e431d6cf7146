"""Every kind of chart signals falsely, and finds a planted shift, as it states.

Series are drawn from the distribution that each kind assumes and judged by the chart's own
limits and rules; the draws share no code with what states the chances.
"""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.detectability import detectability
from pipeline.analysis.charts.signals import find_signals
from pipeline.analysis.charts.simulate import Effort

EFFORT = Effort(series=2000, horizon=300)
PER_MONTH, BASE = 40.0, 24
# A baseline of 10%, unequal where the spread comes from it.
STEADY, SPREAD = np.full(BASE, 4.0), np.resize([2.0, 7.0, 3.0, 6.0, 2.0, 4.0], BASE)
BASELINES = {
    "run": STEADY, "p": STEADY, "u": STEADY, "p'": SPREAD, "u'": SPREAD,
    "g": np.full(BASE, 12.0), "t": np.full(BASE, 12.0),
}  # fmt: skip
# Doublings; charts of gaps see events further apart sooner than closer together.
SHIFTS = dict.fromkeys(BASELINES, 2.0) | {"g": 0.2, "t": 0.2}


def months(k):
    return tuple(f"{2021 + i // 12}-{i % 12 + 1:02d}" for i in range(k))


def chart_of(kind, k=BASE):
    """Return a chart of k points by the limits of the first 24."""
    x = np.resize(BASELINES[kind], k)
    n = np.ones(k) if kind in {"g", "t"} else np.full(k, PER_MONTH)
    return control_chart(Counts(months(k), x, n), kind=kind, forced=True,
                         model="binomial", baseline=("2021-01", "2022-12"))  # fmt: skip


def drawn(chart, ratio, rng):
    """Draw points whose rate is `ratio` times the baseline's, a value for each point."""
    n = chart.denominator
    rate = chart.numerator[:BASE].sum() / n[:BASE].sum()
    mean = rate * ratio
    if chart.kind in {"run", "p"}:
        return rng.binomial(n.astype(int), mean) / n
    if chart.kind == "u":
        return rng.poisson(mean * n) / n
    if chart.kind == "g":
        return rng.geometric(ratio / (rate + 1), n.size) - 1.0
    if chart.kind == "t":
        return rng.exponential(rate / ratio, n.size)
    odds = {"p'": mean * (1 - mean) / (rate * (1 - rate)), "u'": ratio}
    return np.maximum(rng.normal(mean, chart.sigma * np.sqrt(odds[chart.kind])), 0)


def judged(chart, value):
    """Return the signals of a chart whose points are these."""
    return find_signals(replace(chart, value=value, numerator=value * chart.denominator))


@pytest.mark.parametrize("kind", BASELINES)
def test_series_in_control_signal_at_the_stated_rate(kind):
    chart, rng, series = chart_of(kind), np.random.default_rng(21), 500
    stated = detectability(chart, ratios=(), effort=EFFORT).false_signal
    share = np.mean([bool(judged(chart, drawn(chart, 1.0, rng))) for _ in range(series)])
    assert abs(share - stated) < 4 * np.sqrt(max(stated * (1 - stated), 0.002) / series)


def points_to_a_signal(kind, runs):
    """Plant the shift after 24 quiet points; redraw the chart at each point until it signals."""
    rng, charts, waits = np.random.default_rng(22), {BASE: chart_of(kind)}, []
    while len(waits) < runs:
        values = drawn(charts[BASE], 1.0, rng)
        if judged(charts[BASE], values):
            continue
        for wait in range(1, 120):
            if BASE + wait not in charts:
                charts[BASE + wait] = chart_of(kind, BASE + wait)
            chart = charts[BASE + wait]
            values = np.append(values, drawn(chart, SHIFTS[kind], rng)[-1])
            if judged(chart, values):
                break
        waits.append(wait)
    return np.array(waits)


@pytest.mark.parametrize("kind", BASELINES)
def test_planted_shifts_are_found_within_the_stated_delay(kind):
    ratio, runs = SHIFTS[kind], 80
    stated = detectability(chart_of(kind), ratios=(ratio,), monthly_volume=1.0, effort=EFFORT)
    points = stated.delays[0].months
    if kind in {"g", "t"}:  # a catheter (or day) a month: back from months to events
        points *= ratio / (13.0 if kind == "g" else 12.0)
    waits = points_to_a_signal(kind, runs)
    slack = stated.delays[0].standard_error
    assert abs(waits.mean() - points) < 4 * waits.std() / np.sqrt(runs) + slack
    assert points < 30
