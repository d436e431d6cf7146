"""Tails and power against exact tests from scipy."""

import numpy as np
import pytest
from scipy import stats

from pipeline.analysis.rates.power import power_of_doubling, too_few_to_tell
from pipeline.analysis.rates.tail_areas import mid_upper_tail


def test_tails_count_half_of_what_was_observed():
    k = np.arange(0, 15)
    for law, variance in ((stats.poisson(6), 6.0), (stats.binom(20, 0.3), 6 * 0.7)):
        got = mid_upper_tail(k, 6.0, variance)
        np.testing.assert_allclose(got, law.sf(k) + law.pmf(k) / 2, atol=1e-10)


def test_an_uncertain_expectation_is_the_conditional_test():
    """Two Poisson counts with exposures 1 and 3: scipy's binomial law of the split."""
    for own, other in ((12, 15), (3, 30), (25, 40)):
        expected = other / 3
        got = mid_upper_tail(own, expected, expected + expected**2 / other)
        # Beyond the count, one event less of the reference is in the total.
        halves = (
            stats.binom.sf(own - 1, own + other, 0.25), stats.binom.sf(own, own + other, 0.25)
        )  # fmt: skip
        assert got == pytest.approx(sum(halves) / 2, abs=1e-12)


def test_power_of_a_doubling_by_hand():
    """Poisson, 12 expected: reject at 20 or more (tail 0.021); P(X >= 20 | 24) = 0.82."""
    assert stats.poisson.sf(19, 12) < 0.025 < stats.poisson.sf(18, 12)
    got = power_of_doubling(12, 1, kind="rate")
    assert got == pytest.approx(stats.poisson.sf(19, 24), abs=1e-12)
    assert too_few_to_tell([11, 13], [1, 1], kind="rate").tolist() == [True, False]


def test_what_is_common_is_judged_by_its_absence():
    few_missed = power_of_doubling(90, 100, kind="proportion")
    assert few_missed == pytest.approx(float(power_of_doubling(10, 100, kind="proportion")))
    assert power_of_doubling(900, 1000, kind="proportion") > 0.99


def test_clusters_count_once():
    assert power_of_doubling(24, 1, kind="rate", dispersion=2) == power_of_doubling(
        12, 1, kind="rate"
    )
    assert too_few_to_tell(0, 50, kind="proportion")
