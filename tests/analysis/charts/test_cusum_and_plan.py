"""Log-likelihood-ratio CUSUM, planning, and false discovery across charts."""

import numpy as np
import pytest

from pipeline.analysis.charts import Signal
from pipeline.analysis.charts.chains import cusum_limit, cusum_run_length
from pipeline.analysis.charts.cusum import (
    episode_increments,
    episode_masses,
    month_masses,
    monthly_cusum,
    risk_adjusted_cusum,
)
from pipeline.analysis.charts.discovery import adjusted_p
from pipeline.analysis.charts.plan import plan_detection

CASE_MIX = np.random.default_rng(1).beta(2, 18, 800)


def simulated_run_lengths(limit, true_ratio, runs=400):
    rng = np.random.default_rng(2)
    total, length = np.zeros(runs), np.zeros(runs)
    waiting = np.ones(runs, bool)
    for step in range(1, 60_000):
        p = rng.choice(CASE_MIX, runs)
        chance = p * true_ratio / (1 - p + p * true_ratio)
        y = (rng.random(runs) < chance).astype(float)
        total = np.maximum(0, total + episode_increments(y, p, 2.0))
        hit = waiting & (total >= limit)
        length[hit] = step
        waiting &= ~hit
        if not waiting.any():
            break
    return length.mean(), length.std() / np.sqrt(runs)


def test_the_limit_gives_the_stated_in_control_run_length():
    limit = cusum_limit(episode_masses(CASE_MIX, 2.0), 600)
    mean, error = simulated_run_lengths(limit, 1.0)
    assert abs(mean - 600) < 4 * error


def test_a_doubling_is_found_in_the_computed_delay():
    limit = cusum_limit(episode_masses(CASE_MIX, 2.0), 2000)
    computed = cusum_run_length(episode_masses(CASE_MIX, 2.0, true_ratio=2.0), limit)
    mean, error = simulated_run_lengths(limit, 2.0)
    assert abs(mean - computed) < 4 * error + 0.01 * computed
    assert computed < 300


def test_risk_adjustment_forgives_a_harder_case_mix():
    """Twice the events, all of them expected: the adjusted chart stays silent."""
    rng = np.random.default_rng(6)
    p = np.concatenate([np.full(600, 0.05), np.full(600, 0.10)])
    y = (rng.random(1200) < p).astype(float)
    adjusted = risk_adjusted_cusum(y, p, in_control_steps=10_000)
    crude = risk_adjusted_cusum(y, np.full(1200, 0.05), in_control_steps=10_000)
    assert adjusted.signals == ()
    assert crude.signals
    assert min(crude.signals) >= 600


def test_a_halving_has_its_own_side():
    rng = np.random.default_rng(7)
    y = (rng.random(1500) < np.where(np.arange(1500) < 700, 0.12, 0.05)).astype(float)
    side = risk_adjusted_cusum(y, np.full(1500, 0.12), ratio=0.5, in_control_steps=10_000)
    assert side.signals
    assert side.signals[0] > 700


def test_monthly_cusum_finds_a_doubling_and_skips_empty_months():
    volume = np.array([40.0] * 30)
    volume[5] = 0
    events = np.where(np.arange(30) < 15, 4.0, 8.0) * (volume > 0)
    side = monthly_cusum(events, volume, 0.1, proportion=True)
    assert side.path[5] == side.path[4]
    assert 15 <= side.signals[0] <= 20
    assert side.in_control_steps == 120


def test_month_increments_keep_their_mean():
    """The expected log-likelihood ratio in control is the negative divergence."""
    masses = month_masses(np.array([25.0, 40.0]), 0.08, 2.0, proportion=True)
    width, reach = 0.01, 3000
    found = (masses(width, reach) * np.arange(-reach, reach + 1)).sum() * width
    expected = np.mean([n * (0.08 * np.log(2) - np.log1p(0.08)) for n in (25, 40)])
    assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("outcome", "expected", "message"),
    [([0, 2], [0.1, 0.1], "0 or 1"), ([0, 1], [0.1, 1.0], "between zero and one"),
     ([0], [0.1, 0.2], "one expected chance each")],
)  # fmt: skip
def test_impossible_outcomes_are_refused(outcome, expected, message):
    with pytest.raises(ValueError, match=message):
        risk_adjusted_cusum(np.array(outcome), np.array(expected), in_control_steps=100)


def test_an_impossible_run_length_is_refused():
    with pytest.raises(ValueError, match="above one step"):
        cusum_limit(episode_masses(CASE_MIX, 2.0), 0.5)


def test_a_plan_orders_charts_by_delay_and_states_their_false_signals():
    plan = plan_detection(0.1, 30, ratio=2.0, proportion=True)
    quiet = [row for row in plan.rows if row.quiet_enough]
    assert {row.chart for row in plan.rows} == {"p", "run", "g", "cusum"}
    assert [row.months for row in quiet] == sorted(row.months for row in quiet)
    assert plan.soonest.chart == "cusum"
    cusum = plan.soonest
    assert cusum.false_signal_months == pytest.approx(120, rel=1e-3)
    assert cusum.volume_needed < 30


@pytest.mark.parametrize(
    ("rate", "volume", "ratio", "message"),
    [(0.0, 20, 2.0, "room for events"), (1.0, 20, 2.0, "room for events"),
     (0.1, 0, 2.0, "volume above zero"), (0.1, 20, 1.0, "not one")],
)  # fmt: skip
def test_impossible_plans_are_refused(rate, volume, ratio, message):
    with pytest.raises(ValueError, match=message):
        plan_detection(rate, volume, ratio=ratio, proportion=True)


def signal(p):
    return Signal("long_run", (0,), "2025-01", "2025-01", "above", "", p)


def test_signals_are_judged_among_all_charts_looked_at():
    few = adjusted_p([signal(0.001), signal(0.02)], looked_at=2)
    many = adjusted_p([signal(0.001), signal(0.02)], looked_at=600)
    np.testing.assert_allclose(few, [0.002, 0.02])
    np.testing.assert_allclose(many, [0.6, 1.0])
    assert adjusted_p([], looked_at=600).size == 0
