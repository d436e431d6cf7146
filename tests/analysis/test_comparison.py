"""Comparisons: planted truths, the false-call rate, and what is never done."""

import dataclasses
import inspect

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.analysis.comparison import case_mix
from pipeline.analysis.comparison import compare as comparison
from pipeline.analysis.comparison.compare import TOO_FEW, compare, in_order, with_calls
from pipeline.records.layout import RECORDS
from tests.analysis.networks import AGES, ALIKE, SITES, episodes, reduce, with_values


def rows_of(frame, *, by="site", terms=("age_years",), kind="proportion", **kwargs):
    factors, kwargs = list(dict.fromkeys([by, *terms])), {"prior": ALIKE} | kwargs
    (done,) = with_calls([compare(reduce(frame, factors), by=by, terms=terms, kind=kind, **kwargs)])
    return {row.group: row for row in done.rows}


@pytest.mark.parametrize("term", ["tunnelled", "skin_glue", "drug", "placed_by", "rate_ml_h"])
def test_what_the_team_chooses_is_never_adjusted_for(term):
    rng = np.random.default_rng(1)
    frame = episodes(rng, [40, 40]).with_columns(pl.lit("yes").alias(term))
    frame = with_values(frame, rng.binomial(1, 0.2, 80), np.ones(80))
    with pytest.raises(ValueError, match=term):
        compare(reduce(frame, ["site", term]), by="site", terms=(term,), kind="proportion")


def test_only_what_no_team_chooses_is_adjustable():
    assert set(case_mix.ADJUSTABLE) == {
        "age_years", "limb", "nerve_target", "planned_dwell_h", "surgeon_type", "site",
    }  # fmt: skip
    assert set(case_mix.ADJUSTABLE) - {"limb"} <= set(RECORDS["episode"].columns)


def test_the_site_with_more_leakage_is_called_and_no_other():
    rng = np.random.default_rng(8)
    frame = episodes(rng, [180] * 6)
    days = rng.uniform(1.5, 3, len(frame))
    leaky = np.where(frame["site"] == "godwit", 2.6, 1.0)
    rows = rows_of(with_values(frame, rng.poisson(0.05 * leaky * days), days), kind="rate")
    assert [name for name, row in rows.items() if row.called] == ["godwit"]
    godwit = rows["godwit"]
    assert godwit.ratio_lower < 2.6 < godwit.ratio_upper
    assert godwit.above_network > 0.99
    assert 1 < godwit.shrunken / (godwit.rate / godwit.ratio) < godwit.ratio
    assert godwit.shrunken_lower < godwit.rate < godwit.shrunken_upper


def _surgeons_of_one_network(rng):
    """Foot and ankle surgeons work at the site where more comes out; nothing else differs."""
    mix = {0: [0.76, 0.08, 0.08, 0.08], 1: [0.1, 0.3, 0.3, 0.3], 2: [0.1, 0.3, 0.3, 0.3]}
    frame = episodes(rng, [400, 400, 400], site_mix=mix)
    p = np.where(frame["site"] == "avocet", 0.30, 0.08)
    return with_values(frame, rng.binomial(1, p), np.ones(len(p)))


def test_a_surgeon_type_that_only_looks_worse_is_not_called_after_adjustment():
    """Crude figures call it in every one of 20 networks, adjusted ones as chance would."""
    rng = np.random.default_rng(3)
    crude, adjusted, ratios = 0, 0, []
    for _ in range(20):
        frame = _surgeons_of_one_network(rng)
        crude += rows_of(frame, by="surgeon_type", terms=())["foot_ankle"].called
        row = rows_of(frame, by="surgeon_type", terms=("age_years", "site"))["foot_ankle"]
        adjusted += row.called
        ratios.append(row.ratio)
    assert crude == 20
    assert adjusted <= stats.binom.ppf(0.999, 20, 0.05)
    assert np.median(ratios) == pytest.approx(1, abs=0.1)


def test_a_small_group_says_too_few_to_tell():
    rng = np.random.default_rng(2)
    frame = episodes(rng, [400, 400, 15])
    rows = rows_of(with_values(frame, rng.binomial(1, 0.1, 815), np.ones(815)))
    assert TOO_FEW in rows["dunlin"].note
    assert TOO_FEW not in rows["avocet"].note
    # Its shrunken figure is drawn to the network's, its interval reaches further.
    assert abs(rows["dunlin"].shrunken - 10) < abs(rows["dunlin"].rate - 10) + 1
    width = rows["dunlin"].shrunken_upper - rows["dunlin"].shrunken_lower
    assert width > rows["avocet"].shrunken_upper - rows["avocet"].shrunken_lower


def test_a_glaring_small_group_is_still_called():
    frame = episodes(np.random.default_rng(2), [400, 400, 15])
    y = np.random.default_rng(3).binomial(1, 0.05, 815)
    y[-15:] = [1] * 9 + [0] * 6
    row = rows_of(with_values(frame, y, np.ones(815)))["dunlin"]
    assert row.called
    assert TOO_FEW not in row.note


def test_events_at_one_site_only_have_no_ratio_but_are_called():
    frame = episodes(np.random.default_rng(2), [100, 100, 100])
    y = np.zeros(300)
    y[:8] = 1
    rows = rows_of(with_values(frame, y, np.ones(300)), fewest_aside=11)
    assert np.isnan(rows["avocet"].ratio)
    assert "no events elsewhere" in rows["avocet"].note
    assert rows["avocet"].called
    assert rows["curlew"].ratio == 0
    assert not rows["curlew"].called
    assert not rows["dunlin"].called


def test_no_events_at_all_is_no_difference():
    frame = episodes(np.random.default_rng(2), [50, 60])
    rows = rows_of(with_values(frame, np.zeros(110), np.ones(110)))
    assert not any(row.called for row in rows.values())
    assert rows["avocet"].rate == 0
    assert rows["avocet"].upper > 0


def test_terms_beyond_the_events_are_left_out_and_said_so():
    rng = np.random.default_rng(2)
    frame = episodes(rng, [100, 100])
    y = np.zeros(200)
    y[:200:8] = 1  # 25 events: too few for four ages
    rows = rows_of(with_values(frame, y, np.ones(200)))
    assert "not adjusted for age_years" in rows["avocet"].note


def test_a_level_that_separates_is_held_and_the_expected_number_is_finite():
    rng = np.random.default_rng(4)
    frame = episodes(rng, [300, 300, 300])
    y = rng.binomial(1, 0.2, 900)
    y[(frame["age_years"] == AGES[0]).to_numpy()] = 0
    factors = ["site", "age_years"]
    model = case_mix.expect(
        reduce(with_values(frame, y, np.ones(900)), factors),
        by="site", terms=("age_years",), kind="proportion",
    )  # fmt: skip
    assert model.is_penalised
    assert np.all(np.isfinite(model.expected))
    assert model.expected.sum() == pytest.approx(y.sum(), rel=0.05)


def test_a_site_does_not_set_its_own_expectation():
    rng = np.random.default_rng(4)
    frame = episodes(rng, [200, 200, 200])
    y = rng.binomial(1, 0.2, 600)
    before = rows_of(with_values(frame, y, np.ones(600)))["avocet"].expected
    y[:200] = 1
    after = rows_of(with_values(frame, y, np.ones(600)))["avocet"].expected
    assert after == pytest.approx(before, rel=1e-9)


def test_clustered_events_widen_what_is_called():
    rng = np.random.default_rng(6)
    frame = episodes(rng, [200, 200])
    y = np.where(rng.random(400) < 0.05, 6, 0)
    model = case_mix.expect(
        reduce(with_values(frame, y, np.full(400, 2.0)), ["site"]), by="site", terms=(), kind="rate"
    )
    assert 4 < model.dispersion < 7


def test_calibration_and_concordance_tell_a_model_from_chance():
    rng = np.random.default_rng(7)
    frame = episodes(rng, [800] * 4)
    older = frame["older"].to_numpy()
    y = rng.binomial(1, np.array([0.35, 0.2, 0.1, 0.05])[older])
    counts = reduce(with_values(frame, y, np.ones(3200)), ["site", "age_years"])
    model = case_mix.expect(counts, by="site", terms=("age_years",), kind="proportion")
    crude = case_mix.expect(counts, by="site", terms=(), kind="proportion")
    assert model.c_statistic == pytest.approx(0.71, abs=0.04)
    assert crude.c_statistic == pytest.approx(0.5, abs=0.04)
    table = model.calibration
    assert table.denominator.sum() == 3200
    assert table.observed.sum() == y.sum()
    assert np.all(np.abs(table.observed - table.expected) < 4 * np.sqrt(table.expected + 1))
    assert np.all(np.diff(table.expected / table.denominator) > 0)


def test_low_ascertainment_is_said():
    rng = np.random.default_rng(7)
    frame = with_values(episodes(rng, [100, 100]), rng.binomial(1, 0.3, 200), np.ones(200))
    frame = frame.with_columns(
        y=pl.when(pl.int_range(pl.len()) < 40).then(None).otherwise(pl.col("y"))
    )
    rows = rows_of(frame)
    assert rows["avocet"].ascertainment == pytest.approx(0.6)
    assert "numerator known for 60% of episodes" in rows["avocet"].note
    assert rows["avocet"].episodes == 60
    assert "known" not in rows["curlew"].note


def test_rows_are_never_put_in_order_of_result():
    rng = np.random.default_rng(7)
    frame = with_values(episodes(rng, [60, 300, 120]), rng.binomial(1, 0.3, 480), np.ones(480))
    done = compare(reduce(frame, ["site"]), by="site", kind="proportion")
    assert [r.group for r in in_order(done).rows] == list(SITES[:3])
    assert [r.group for r in in_order(done, "volume").rows] == ["curlew", "dunlin", "avocet"]
    with pytest.raises(ValueError, match="never by result"):
        in_order(done, "rate")
    names = {f.name for f in dataclasses.fields(comparison.GroupRow)}
    assert not names & {"rank", "position", "percentile"}
    assert "rank" not in inspect.signature(compare).parameters


def test_one_group_is_no_comparison():
    frame = with_values(episodes(np.random.default_rng(1), [30]), np.ones(30), np.ones(30))
    with pytest.raises(ValueError, match="two groups"):
        compare(reduce(frame, ["site"]), by="site", kind="proportion")


def test_a_group_of_which_nothing_is_known_is_left_out():
    rng = np.random.default_rng(1)
    frame = with_values(episodes(rng, [60, 60, 5]), rng.binomial(1, 0.2, 125), np.ones(125))
    frame = frame.with_columns(
        y=pl.when(pl.col("site") == "dunlin").then(None).otherwise(pl.col("y"))
    )
    assert set(rows_of(frame)) == {"avocet", "curlew"}
