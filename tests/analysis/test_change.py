"""A change's effect: planted truths, what is set beside it, and its wording."""

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.change.effect import SiteMonths, assess
from pipeline.analysis.change.segmented import segmented_regression
from pipeline.analysis.comparison.contrasts import adjusted_contrast, crude_contrast
from pipeline.words.change import sentence
from tests.analysis.networks import AGES, reduce

MONTHS = tuple(f"{2024 + k // 12}-{k % 12 + 1:02}" for k in range(24))
STARTED = "2025-01"


def network(rng, *, ratio=0.5, drift=0.0, size=40, rate=0.15):
    """Three sites, one of which changed; `drift` moves all of them alike."""
    sites = ("avocet", "curlew", "godwit")
    after = np.array([month >= STARTED for month in MONTHS])
    n = rng.poisson(size, (3, 24)).astype(float)
    factor = np.exp(drift * np.arange(24)) * np.ones((3, 1))
    factor[2] = factor[2] * np.where(after, ratio, 1.0)
    y = rng.binomial(n.astype(int), np.clip(rate * factor, 0, 0.95)).astype(float)
    return SiteMonths(MONTHS, sites, y, n)


def judged(series, **kwargs):
    return assess(series, started_month=STARTED, sites=["godwit"], kind="proportion", **kwargs)


def words(effect):
    return sentence(effect, title="Dislodgement", unit="per 100 catheters")


def test_a_planted_halving_is_estimated_within_its_limits():
    rng = np.random.default_rng(11)
    inside = {"crude": 0, "controls": 0}
    for _ in range(60):
        effect = judged(network(rng))
        inside["crude"] += effect.crude.ratio_lower <= 0.5 <= effect.crude.ratio_upper
        both = effect.against_drift.effect
        odds = 0.075 / 0.925 / (0.15 / 0.85)  # a proportion's effect is an odds ratio
        inside["controls"] += both.lower <= odds <= both.upper
    # 95% of 60 is 57; 51 is the 0.1% point.
    assert inside["crude"] >= 51
    assert inside["controls"] >= 51


def test_a_drift_that_all_sites_share_is_not_put_down_to_the_change():
    rng = np.random.default_rng(12)
    effect = judged(network(rng, ratio=1.0, drift=-0.06, size=120, rate=0.4))
    assert effect.crude.ratio_upper < 0.8
    assert effect.at_controls.ratio_upper < 0.8
    assert effect.against_drift.effect.lower < 1 < effect.against_drift.effect.upper
    assert effect.placebo.effect.lower < 1 < effect.placebo.effect.upper
    text = words(effect)
    assert "compatible with no change" in text
    assert "At Jul 2024, when nothing was changed, the same comparison gives" in text


def test_the_sentence_claims_association_alone():
    text = words(judged(network(np.random.default_rng(13), size=120)))
    assert "lower by more than sites drift by themselves" in text
    assert "This is an association" in text
    assert "before Jan 2025" in text
    for claim in ("caused", "because", "led to", "prevented", "worked", "due to"):
        assert claim not in text


def test_a_change_without_effect_is_compatible_with_no_change():
    text = words(judged(network(np.random.default_rng(14), ratio=1.0)))
    assert "compatible with no change" in text


def test_few_events_are_too_few_to_tell():
    effect = judged(network(np.random.default_rng(15), size=3, rate=0.05))
    assert effect.is_too_few
    assert "too few to tell" in words(effect)


def test_without_other_sites_there_is_no_control_and_it_is_said():
    rng = np.random.default_rng(16)
    whole = network(rng)
    alone = SiteMonths(MONTHS, ("godwit",), whole.numerator[2:], whole.denominator[2:])
    effect = judged(alone)
    assert effect.controls == ()
    assert effect.at_controls is None
    assert "no site without the change stands beside it" in words(effect)
    assert effect.against_drift.sites_needed is None


def test_first_month_and_placebo_are_set_beside_it():
    rng = np.random.default_rng(17)
    series = network(rng, ratio=1.0, size=60)
    series.numerator[2, 12] = 0  # nothing came out in the first month
    effect = judged(series)
    assert effect.without_first_month.ratio > effect.crude.ratio
    assert effect.placebo_month == "2024-07"
    assert effect.placebo.effect.lower < 1 < effect.placebo.effect.upper


def test_a_change_with_nothing_before_it_is_refused():
    series = network(np.random.default_rng(1))
    with pytest.raises(ValueError, match="before and after"):
        assess(series, started_month="2023-01", sites=["godwit"], kind="proportion")


def test_too_few_months_have_no_trend():
    y, n = np.ones(10), np.full(10, 20.0)
    assert segmented_regression(y, n, change=5, kind="rate") is None
    assert segmented_regression(np.zeros(20), np.full(20, 9.0), change=10, kind="rate") is None


def test_a_planted_step_and_slope_are_recovered():
    month = np.arange(40)
    n = np.full(40, 1e6)
    rate = 0.02 * np.exp(0.01 * (month - 20) + (month >= 20) * (np.log(0.6) - 0.03 * (month - 20)))
    got = segmented_regression(rate * n, n, change=20, kind="rate", multiplier=1)
    assert got.level.ratio == pytest.approx(0.6, rel=1e-6)
    assert got.slope.ratio == pytest.approx(np.exp(-0.03), rel=1e-6)
    assert got.earlier_slope.ratio == pytest.approx(np.exp(0.01), rel=1e-6)
    np.testing.assert_allclose(got.fitted, rate, rtol=1e-6)
    np.testing.assert_allclose(got.unchanged, 0.02 * np.exp(0.01 * (month - 20)), rtol=1e-6)


def by_period(rng, *, older_after):
    """Older children dislodge less; after the change there are more of them."""
    n = 1200
    period = np.where(np.arange(n) < n // 2, "before", "after")
    share = np.where(period == "after", older_after, 0.3)
    old = rng.random(n) < share
    y = rng.binomial(1, np.where(old, 0.08, 0.30)).astype(float)
    return pl.DataFrame(
        {"period": period, "age_years": np.where(old, AGES[3], AGES[1]), "y": y, "d": np.ones(n)}
    )


def test_older_children_after_the_change_do_not_pass_for_its_effect():
    rng = np.random.default_rng(18)
    counts = reduce(by_period(rng, older_after=0.8), ["period", "age_years"])
    totals = dict(zip(counts.levels["period"], counts.totals("period").numerator, strict=True))
    crude = crude_contrast((totals["before"], 600), (totals["after"], 600), kind="proportion")
    got = adjusted_contrast(
        counts, by="period", first="before", second="after", terms=("age_years",), kind="proportion"
    )
    assert crude.ratio_upper < 0.8
    assert got.ratio_lower < 1 < got.ratio_upper
    assert got.difference_lower < 0 < got.difference_upper


def test_adjusted_figures_without_a_difference_in_mix_are_the_crude_ones():
    rng = np.random.default_rng(19)
    frame = by_period(rng, older_after=0.3)
    counts = reduce(frame, ["period", "age_years"])
    got = adjusted_contrast(
        counts, by="period", first="before", second="after", terms=("age_years",), kind="proportion"
    )
    totals = dict(zip(counts.levels["period"], counts.totals("period").numerator, strict=True))
    crude = crude_contrast((totals["before"], 600), (totals["after"], 600), kind="proportion")
    assert got.ratio == pytest.approx(crude.ratio, rel=0.05)
    assert got.ratio_lower == pytest.approx(crude.ratio_lower, rel=0.08)


def test_no_events_on_one_side_still_have_limits():
    got = crude_contrast((12, 100), (0, 90), kind="proportion")
    assert got.ratio == 0
    assert got.ratio_lower == 0
    assert 0 < got.ratio_upper < 1
    got = crude_contrast((0, 100.0), (5, 90.0), kind="rate")
    assert np.isnan(got.ratio)
    assert 0 < got.ratio_lower < 10
    assert got.ratio_upper == np.inf
