"""Log-likelihood-ratio CUSUM, planning, and false discovery across charts."""

import numpy as np
import pytest

from pipeline.analysis.charts import Signal
from pipeline.analysis.charts.chains import cusum_limit, cusum_run_length
from pipeline.analysis.charts.cusum import (
    DOWN,
    UP,
    Risk,
    accumulate,
    expected_delay,
    false_signal,
    month_masses,
    monthly_cusum,
)
from pipeline.analysis.charts.discovery import adjusted_p
from pipeline.analysis.charts.expected import fitted_risk
from pipeline.analysis.charts.plan import plan_detection
from pipeline.analysis.comparison.pattern_counts import SUMS, PatternCounts, Sums

MONTHS = 24


def case_mix():
    """Twenty-four months of 25 to 45 catheters, each with its own chance; invented."""
    rng = np.random.default_rng(1)
    volume = np.resize([25, 45, 33, 38], MONTHS)
    month = np.repeat(np.arange(MONTHS), volume)
    return Risk(month, np.ones(month.size), rng.beta(2, 18, month.size), MONTHS, proportion=True)


def by_catheter(risk, month, true_ratio, rng, ratio=UP):
    """Draw one month catheter by catheter and add up each one's log-likelihood ratio.

    y ln R - ln(1 - p + R p): Steiner and others 2000, Biostatistics 1:441-452 (recalled).
    """
    p = risk.rate[risk.month == month]
    chance = p * true_ratio / (1 - p + p * true_ratio)
    y = rng.random(p.size) < chance
    return (y * np.log(ratio) - np.log(1 - p + ratio * p)).sum()


def waits(risk, limit, true_ratio, runs):
    """Months to a signal, each month drawn at random and catheter by catheter."""
    rng, found = np.random.default_rng(2), []
    for _ in range(runs):
        total, waited = 0.0, 0
        while total < limit:
            step = by_catheter(risk, rng.integers(MONTHS), true_ratio, rng)
            total, waited = max(0.0, total + step), waited + 1
        found.append(waited)
    return np.array(found)


@pytest.mark.parametrize(("true_ratio", "asked", "runs"), [(1.0, 40, 400), (2.0, 120, 400)])
def test_months_to_a_signal_are_those_of_catheters_drawn_one_by_one(true_ratio, asked, runs):
    """The limit gives the stated in-control months, and a doubling is found as stated."""
    risk, every = case_mix(), np.arange(MONTHS)
    limit = cusum_limit(month_masses(risk, every, UP), asked)
    stated = cusum_run_length(month_masses(risk, every, UP, true_ratio), limit)
    simulated = waits(risk, limit, true_ratio, runs)
    assert abs(simulated.mean() - stated) < 4 * simulated.std() / np.sqrt(runs)
    if true_ratio == 1.0:
        assert stated == pytest.approx(asked, rel=1e-5)
    else:
        assert stated < 12


def test_the_chance_of_a_false_signal_is_that_of_catheters_drawn_one_by_one():
    risk, rng = case_mix(), np.random.default_rng(4)
    sides = [monthly_cusum(np.zeros(MONTHS), risk, ratio=ratio) for ratio in (UP, DOWN)]
    stated = false_signal(risk, tuple(sides), np.ones(MONTHS, bool))
    fired = 0
    for _ in range(800):
        y = (rng.random(risk.rate.size) < risk.rate).astype(float)
        events = risk.total(y)
        paths = [accumulate(risk.evidence(events, s.ratio), s.limit)[1] for s in sides]
        fired += any(paths)
    assert abs(fired / 800 - stated) < 4 * np.sqrt(stated * (1 - stated) / 800)
    assert 0.05 < stated < 0.6


def test_a_months_evidence_is_the_sum_of_its_catheters():
    risk, rng = case_mix(), np.random.default_rng(3)
    y = (rng.random(risk.rate.size) < risk.rate).astype(float)
    alone = y * np.log(2) - np.log1p(risk.rate)
    np.testing.assert_allclose(risk.evidence(risk.total(y), UP), risk.total(alone), atol=1e-12)


def test_risk_adjustment_forgives_a_harder_case_mix():
    """Twice the events, all of them expected: the adjusted chart stays silent."""
    n, p = np.full(40, 50.0), np.where(np.arange(40) < 20, 0.05, 0.10)
    events = np.round(n * p)
    adjusted = monthly_cusum(events, Risk.alike(n, p, proportion=True))
    crude = monthly_cusum(events, Risk.alike(n, 0.05, proportion=True))
    assert adjusted.signals == ()
    assert min(crude.signals) >= 20


def test_a_halving_has_its_own_side():
    events = np.where(np.arange(40) < 20, 6.0, 3.0)
    risk = Risk.alike(np.full(40, 50.0), 0.12, proportion=True)
    assert monthly_cusum(events, risk, ratio=DOWN).signals[0] >= 20
    assert monthly_cusum(events, risk, ratio=UP).signals == ()


@pytest.mark.parametrize("proportion", [True, False])
def test_a_doubling_is_found_within_its_stated_delay_and_empty_months_are_skipped(proportion):
    volume = np.full(30, 40.0)
    volume[5] = 0
    events = np.where(np.arange(30) < 15, 4.0, 8.0) * (volume > 0)
    risk = Risk.alike(volume, 0.1, proportion=proportion)
    side = monthly_cusum(events, risk)
    assert side.path[5] == side.path[4]
    stated = expected_delay(risk, np.arange(10, 30), side)
    assert 15 <= side.signals[0] <= 15 + 2 * stated


def test_a_new_phase_starts_at_zero_with_a_limit_of_its_own():
    rate = np.where(np.arange(30) < 15, 0.2, 0.05)
    events = np.full(30, 8.0)
    events[14] = 14.0
    phase = (np.arange(30) >= 15).astype(int)
    risk = Risk.alike(np.full(30, 40.0), rate, proportion=True)
    side = monthly_cusum(events * np.where(phase, 0.25, 1), risk, limit_set=phase)
    assert side.path[14] > 0
    assert side.path[15] == 0
    assert side.limit[0] != side.limit[-1]
    for months in (np.arange(15), np.arange(15, 30)):
        masses = month_masses(risk, months, UP)
        assert cusum_run_length(masses, side.limit[months[0]]) == pytest.approx(120, rel=1e-4)


def test_month_increments_keep_their_mean():
    """The expected log-likelihood ratio in control is the negative divergence."""
    risk = Risk.alike(np.array([25.0, 40.0]), 0.08, proportion=True)
    masses = month_masses(risk, np.arange(2), UP)
    width, reach = 0.01, 3000
    found = (masses(width, reach) * np.arange(-reach, reach + 1)).sum() * width
    expected = np.mean([n * (0.08 * np.log(2) - np.log1p(0.08)) for n in (25, 40)])
    assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("volume", "rate"), [(0.0, 0.1), (20.0, 0.0), (20.0, 1.0)])
def test_months_that_leave_no_room_are_refused(volume, rate):
    risk = Risk.alike(np.full(5, volume), rate, proportion=True)
    with pytest.raises(ValueError, match="expected rate above zero"):
        monthly_cusum(np.zeros(5), risk)


def test_an_impossible_run_length_is_refused():
    with pytest.raises(ValueError, match="above one step"):
        cusum_limit(month_masses(case_mix(), np.arange(MONTHS), UP), 0.5)


def patterns(events, catheters, limb):
    """Return counts by month and limb; rows go by month and then limb."""
    months = [f"2024-{i // 2 + 1:02d}" for i in range(len(events))]
    codes = {"month": np.arange(len(events)) // 2, "limb": np.arange(len(events)) % 2}
    sums = dict.fromkeys(SUMS, np.zeros(len(events)))
    sums |= {"numerator": np.asarray(events, float), "denominator": np.asarray(catheters, float)}
    levels = {"month": tuple(dict.fromkeys(months)), "limb": limb}
    return PatternCounts(levels, codes, Sums(**sums))


def test_the_model_is_the_baselines_and_expects_by_each_months_own_children():
    """Upper limbs at 10%, lower at 30%: with one term the model is the two proportions."""
    catheters = np.tile([30.0, 10.0], 12)
    catheters[12:] = np.tile([10.0, 30.0], 6)  # a harder case mix from the seventh month
    events = catheters * np.tile([0.1, 0.3], 12)
    events[12:] = 20.0 / 2  # after the baseline the model does not look
    counts = patterns(events, catheters, ("lower", "upper"))
    periods = counts.levels["month"]
    baseline, one = np.arange(12) < 6, np.zeros(12, int)
    fitted = fitted_risk(counts, periods, baseline, one, terms=("limb",), kind="proportion")
    assert fitted.terms == ("limb",)
    np.testing.assert_allclose(fitted.risk.expected, np.where(baseline, 6.0, 10.0), rtol=1e-6)


def test_each_phase_expects_what_its_own_baseline_had():
    catheters = np.tile([60.0, 40.0], 12)
    events = catheters * np.tile([0.2, 0.4], 12) * np.repeat([1.0, 0.5], 12)
    counts = patterns(events, catheters, ("lower", "upper"))
    phase = np.repeat([0, 1], 6)
    fitted = fitted_risk(counts, counts.levels["month"], np.ones(12, bool), phase,
                         terms=("limb",), kind="proportion")  # fmt: skip
    expected = fitted.risk.expected
    assert expected[:6].sum() == pytest.approx(6 * 28, rel=1e-6)
    assert expected[6:].sum() == pytest.approx(6 * 14, rel=1e-6)


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
    return Signal("long_run", (0,), "2025-01", "2025-01", "above", p)


def test_signals_are_judged_among_all_charts_looked_at():
    few = adjusted_p([signal(0.001), signal(0.02)], looked_at=2)
    many = adjusted_p([signal(0.001), signal(0.02)], looked_at=600)
    np.testing.assert_allclose(few, [0.002, 0.02])
    np.testing.assert_allclose(many, [0.6, 1.0])
    assert adjusted_p([], looked_at=600).size == 0
