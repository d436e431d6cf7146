"""The two laws behind funnel limits against scipy.stats: a cross-check, not a reference."""

import numpy as np
import pytest
from scipy import stats

from pipeline.analysis.funnel import exact_limit

VOLUMES = np.unique(np.geomspace(1, 2e5, 80).round())


@pytest.mark.parametrize("kind", ["proportion", "rate"])
@pytest.mark.parametrize("centre", [1e-5, 0.001, 0.03, 0.5, 0.77, 0.999])
@pytest.mark.parametrize("tail", [0.001, 0.025, 0.975, 0.999])
def test_limits_are_those_of_the_law(kind, centre, tail):
    law = stats.binom(VOLUMES, centre) if kind == "proportion" else stats.poisson(VOLUMES * centre)
    r = law.ppf(tail)
    at, before = law.cdf(r), law.cdf(r - 1)
    expected = (r - np.where(at > tail, (at - tail) / (at - before), 0.0)) / VOLUMES
    assert exact_limit(VOLUMES, centre, tail, kind) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_where_all_have_the_event_the_limits_are_the_whole():
    assert exact_limit([1.0, 40.0], 1.0, 0.975, "proportion") == pytest.approx(
        [0.975, 1 - 1 / 1600]
    )
