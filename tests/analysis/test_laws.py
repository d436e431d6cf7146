"""The two laws against scipy.stats: a cross-check, not a reference."""

import numpy as np
import pytest
from scipy import stats

from pipeline.analysis.comparison.funnel import exact_limit
from pipeline.analysis.rates import distributions as laws

VOLUMES = np.unique(np.geomspace(1, 2e5, 80).round())
TAILS = (0.001, 0.025, 0.975, 0.999)


@pytest.mark.parametrize("tail", TAILS)
@pytest.mark.parametrize("p", [0.0, 1e-5, 0.001, 0.03, 0.5, 0.77, 0.999, 1.0])
def test_the_binomial_law(p, tail):
    law = stats.binom(VOLUMES, p)
    r = laws.binomial_quantile(tail, VOLUMES, p)
    assert (r == np.maximum(law.ppf(tail), 0)).all()
    for count in (r - 1, r, r + 1):
        assert laws.binomial_at_most(count, VOLUMES, p) == pytest.approx(law.cdf(count), abs=1e-10)
        mid = (law.cdf(count) + law.cdf(count - 1)) / 2
        assert laws.binomial_mid_chance(count, VOLUMES, p) == pytest.approx(mid, abs=1e-9)


@pytest.mark.parametrize("tail", TAILS)
@pytest.mark.parametrize("rate", [0.0, 1e-5, 0.01, 0.7, 3.0])
def test_the_poisson_law(rate, tail):
    law = stats.poisson(VOLUMES * rate)
    r = laws.poisson_quantile(tail, VOLUMES * rate)
    assert (r == np.maximum(law.ppf(tail), 0)).all()
    for count in (r - 1, r, r + 1):
        assert laws.poisson_at_most(count, VOLUMES * rate) == pytest.approx(
            law.cdf(count), abs=1e-10
        )
        mid = (law.cdf(count) + law.cdf(count - 1)) / 2
        assert laws.poisson_mid_chance(count, VOLUMES * rate) == pytest.approx(mid, abs=1e-9)


def test_where_all_have_the_event_the_limits_are_the_whole():
    assert exact_limit([1.0, 40.0], 1.0, 0.975, "proportion") == pytest.approx(
        [0.975, 1 - 1 / 1600]
    )
