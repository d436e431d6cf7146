"""Evidence added up month by month, the watch and the call that it makes, and planning."""

import numpy as np
import pytest

from pipeline.analysis.charts import Change, Counts
from pipeline.analysis.charts.cusum import CALL, DOWN, UP, WATCH, RunLengths, accumulate, evidence
from pipeline.analysis.charts.expected import fitted_risk
from pipeline.analysis.charts.follow import follow
from pipeline.analysis.charts.phases import Need
from pipeline.analysis.charts.plan import plan_detection
from pipeline.analysis.charts.sight import sight
from pipeline.analysis.comparison.pattern_counts import SUMS, PatternCounts, Sums

BASE = np.resize([1, 2, 1, 2], 24)
RUNS = RunLengths(360.0, 800.0)


def months(k, start=2021):
    return tuple(f"{start + i // 12}-{i % 12 + 1:02d}" for i in range(k))


def followed(x, n=13.0, changes=(), **options):
    counts = Counts(months(len(x)), np.asarray(x, float), np.full(len(x), n))
    return follow([counts], [changes], proportion=True, runs=[RUNS], **options)[0]


@pytest.mark.parametrize(("k", "state"), [(30, WATCH), (33, CALL), (36, CALL)])
def test_a_level_that_moved_without_a_logged_change_is_watched_then_called_and_stays(k, state):
    """13 a month, 12% for 24 months and then 28%, no change logged."""
    x = np.concatenate([BASE, np.resize([4, 3, 4, 4], 12)])[:k]
    cusum = followed(x)
    assert cusum.up.state[-1] == state
    (signal,) = cusum.signals(rare=False)
    assert (signal.kind == "call") == (state == CALL)
    assert (signal.direction, signal.first, signal.last) == ("above", "2023-04", months(k)[-1])
    assert not followed(x).down.state.any()


def test_a_spell_ends_when_the_level_is_back():
    x = np.concatenate([BASE, [4, 4, 4, 4, 4, 4], np.zeros(6), BASE[:6]])
    cusum = followed(x)
    assert cusum.up.state[24:30].max() >= WATCH
    assert cusum.up.state[-1] == 0


def test_nothing_is_judged_until_the_baseline_is_complete_unless_a_rate_is_given():
    x = np.array([1, 1, 8, 8, 8, 8])
    assert not followed(x).is_judged
    assert not followed(x).up.state.any()
    given = followed(x, expected=[0.1])
    assert given.is_judged
    assert given.up.state[-1] == CALL


def test_a_new_phase_with_a_baseline_of_its_own_starts_at_zero():
    x = np.concatenate([BASE, np.resize([4, 3, 4, 4], 24)])
    cusum = followed(x, changes=[Change("2023-01", "Longer stay", new_phase=True)])
    assert cusum.up.path[24] < cusum.up.path[23] + 4 * np.log(2)
    assert cusum.up.state[-1] == 0
    assert cusum.chance > 0.25


def test_a_month_adds_the_evidence_of_its_catheters():
    """y ln R - ln(1 - p + R p), catheter by catheter; Steiner and others 2000 (recalled)."""
    alone = [y * np.log(2) - np.log1p(0.1) for y in (1, 0, 0, 1, 0)]
    found = evidence(np.array([2.0]), np.array([5.0]), np.array([0.1]), UP, proportion=True)
    assert found[0] == pytest.approx(sum(alone))
    rate = evidence(np.array([3.0]), np.array([50.0]), np.array([0.04]), DOWN, proportion=False)
    assert rate[0] == pytest.approx(3 * np.log(0.5) + 0.5 * 2.0)


def test_sums_stay_between_zero_and_their_limit():
    steps = np.array([[-1.0, 2.0, 5.0, -1.0, -2.0, 1.0]])
    path, on = accumulate(steps, np.full((1, 6), 4.0), np.zeros((1, 6), bool),
                          np.ones((1, 6), bool))  # fmt: skip
    assert path[0].tolist() == [0, 2, 4, 3, 1, 2]
    assert on[0].tolist() == [False, False, True, True, False, False]


def test_what_falls_short_of_most_is_judged_like_what_is_rare():
    x = np.concatenate([BASE, np.resize([4, 3, 4, 4], 12)])
    rare, most = followed(x), followed(13 - x)
    np.testing.assert_allclose(rare.up.path, most.down.path, atol=1e-9)
    np.testing.assert_allclose(rare.up.limit, most.down.limit)
    np.testing.assert_array_equal(rare.up.state, most.down.state)


def patterns(events, catheters, limb):
    """Return counts by month and limb; rows go by month and then limb."""
    spans = [f"2024-{i // 2 + 1:02d}" for i in range(len(events))]
    codes = {"month": np.arange(len(events)) // 2, "limb": np.arange(len(events)) % 2}
    sums = dict.fromkeys(SUMS, np.zeros(len(events)))
    sums |= {"numerator": np.asarray(events, float), "denominator": np.asarray(catheters, float)}
    levels = {"month": tuple(dict.fromkeys(spans)), "limb": limb}
    return PatternCounts(levels, codes, Sums(**sums))


def test_the_model_is_the_baselines_and_expects_by_each_months_own_children():
    """Upper limbs at 10%, lower at 30%: with one term the model is the two proportions."""
    catheters = np.tile([30.0, 10.0], 12)
    catheters[12:] = np.tile([10.0, 30.0], 6)  # a harder case mix from the seventh month
    events = catheters * np.tile([0.1, 0.3], 12)
    events[12:] = 20.0 / 2  # after the baseline the model does not look
    counts = patterns(events, catheters, ("lower", "upper"))
    baseline, one = np.arange(12) < 6, np.zeros(12, int)
    fitted = fitted_risk(counts, counts.levels["month"], baseline, one, terms=("limb",),
                         kind="proportion")  # fmt: skip
    assert fitted.terms == ("limb",)
    np.testing.assert_allclose(fitted.rate, np.where(baseline, 0.15, 0.25), rtol=1e-6)


def test_case_mix_forgives_what_a_harder_case_mix_brings():
    """Twice the events, all of them expected: nothing is called; without case mix it is."""
    x = np.concatenate([BASE, BASE[:16] * 2])
    rate = np.where(np.arange(40) < 24, BASE.mean() / 13, 2 * BASE.mean() / 13)
    assert followed(x).up.state[-1] == CALL
    assert not followed(x, by_month=rate).up.state.any()


def test_silence_says_more_the_more_events_there_are():
    small, large = (sight(followed(np.resize(BASE, 36) * k, 13.0 * k)) for k in (1, 4))
    for ratio in (2.0, 0.5, 1.5):
        assert large.months(ratio) < small.months(ratio)
    assert small.delays[0].watch < small.delays[0].call
    months = [sight(followed(np.full(36, 0.08 * n), n, need=Need(24, 0))).months(2.0)
              for n in (10.0, 15.0, 20.0, 30.0, 60.0)]  # fmt: skip
    assert months == sorted(months, reverse=True)
    assert 0 < small.false_call < small.false_watch < 0.2


def test_without_an_event_silence_means_nothing():
    none = sight(followed(np.zeros(30), need=Need(24, 0)))
    assert np.isnan(none.false_watch)
    assert none.months(2.0) == np.inf


@pytest.mark.parametrize("proportion", [True, False])
def test_a_plan_compares_charts_at_equal_false_alarms_the_soonest_first(proportion):
    plan = plan_detection(0.1, 30, proportion=proportion)
    assert {row.chart for row in plan.rows} == {"cusum", "limits", "gaps"}
    assert [row.doubling for row in plan.rows] == sorted(row.doubling for row in plan.rows)
    assert plan.rows[0].chart == "cusum"
    assert plan.rows[0].doubling < 5 < plan.rows[0].rise
    assert plan.needed == 30


def test_a_plan_says_what_volume_would_see_a_doubling_within_two_years():
    plan = plan_detection(0.005, 10, proportion=True)
    assert plan.rows[0].doubling > 24
    assert plan_detection(0.005, plan.needed, proportion=True).rows[0].doubling <= 24


@pytest.mark.parametrize(("rate", "volume"), [(0.0, 20.0), (1.0, 20.0), (0.1, 0.0), (1e-9, 5.0)])
def test_a_plan_without_room_has_no_row(rate, volume):
    assert plan_detection(rate, volume, proportion=True).rows == ()


@pytest.mark.parametrize("rate", [0.48, 0.5, 0.97, 0.999])
def test_a_rate_near_the_whole_can_be_planned(rate):
    assert all(np.isfinite(row.halving) for row in plan_detection(rate, 20, proportion=True).rows)
