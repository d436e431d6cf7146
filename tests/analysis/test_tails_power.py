"""Tails and power against exact tests from scipy."""

import numpy as np
import pytest
from scipy import stats

from pipeline.analysis.rates.power import power_of_doubling, too_few_to_tell
from pipeline.analysis.rates.tail_areas import tail_p_value


def test_poisson_and_binomial_tails_are_twice_the_smaller_one():
    k = np.arange(0, 15)
    got = tail_p_value(k, 4.0, 4.0)
    tails = np.minimum(stats.poisson.cdf(k, 4), stats.poisson.sf(k - 1, 4))
    np.testing.assert_allclose(got, np.minimum(2 * tails, 1), atol=1e-12)
    got = tail_p_value(k, 6.0, 6 * 0.7)
    tails = np.minimum(stats.binom.cdf(k, 20, 0.3), stats.binom.sf(k - 1, 20, 0.3))
    np.testing.assert_allclose(got, np.minimum(2 * tails, 1), atol=1e-10)
    got = tail_p_value(k, 4.0, 4 + 4**2 / 3)
    # Upper tail: the reference's three events and one more.
    tails = np.minimum(stats.nbinom(3, 3 / 7).cdf(k), stats.nbinom(4, 3 / 7).sf(k - 1))
    np.testing.assert_allclose(got, np.minimum(2 * tails, 1), atol=1e-12)


def test_an_uncertain_expectation_is_the_conditional_test():
    """Two Poisson counts with exposures 1 and 3: scipy's exact binomial test of the split."""
    for own, other in ((12, 15), (3, 30), (25, 40)):
        expected = other / 3
        got = tail_p_value(own, expected, expected + expected**2 / other)
        exact = 2 * min(
            stats.binom.sf(own - 1, own + other, 0.25), stats.binom.cdf(own, own + other, 0.25)
        )
        assert got == pytest.approx(min(exact, 1), abs=1e-12)


def test_an_expectation_of_nothing_has_no_p_value():
    assert np.isnan(tail_p_value(2, 0.0, 0.0))


@pytest.mark.parametrize("variance", [3.0, 5.0, 9.0])
def test_no_law_rejects_more_often_than_it_says(variance):
    k = np.arange(0, 80)
    p = tail_p_value(k, 5.0, variance)
    law = {
        3.0: stats.binom(12.5 // 1, 0.4),
        5.0: stats.poisson(5),
        9.0: stats.nbinom(5 / 0.8, 1 / 1.8),
    }[variance]
    if variance == 3.0:  # n is 12.5: the law lies between binomials of 12 and 13
        p = tail_p_value(k, 4.8, 4.8 * 0.6)
    for level in (0.05, 0.01):
        assert law.pmf(k)[p <= level].sum() <= level + 1e-9


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
