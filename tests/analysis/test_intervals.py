"""Intervals against printed figures; each test names its source."""

import csv
from pathlib import Path

import numpy as np
import pytest

from pipeline.analysis.rates import intervals

DATA = Path(__file__).parents[1] / "reference" / "data"
BINOMIAL = {
    "score": intervals.wilson,
    "mid-P": intervals.binomial_mid_p,
}


def rows(name):
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(
    "row", [r for r in rows("newcombe_1998_intervals.csv") if r["method"] in BINOMIAL]
)
def test_proportion_limits_are_newcombes_table_1(row):
    """Newcombe 1998, Stat Med 17:857-872, Table I.

    Score limits as quoted in public test suites that cite the table; mid-P
    recalled, not retrieved. Tolerance: just over half the last digit.
    Full digits: R 4.2.2 binom.test and prop.test.
    """
    limits = BINOMIAL[row["method"]](int(row["x"]), int(row["n"]))
    assert limits.lower == pytest.approx(float(row["published_lower"]), abs=6e-5)
    assert limits.upper == pytest.approx(float(row["published_upper"]), abs=6e-5)
    assert limits.lower == pytest.approx(float(row["recomputed_lower"]), abs=1e-8)
    assert limits.upper == pytest.approx(float(row["recomputed_upper"]), abs=1e-8)


@pytest.mark.parametrize(
    ("method", "columns"),
    [(intervals.garwood, "exact"), (intervals.poisson_mid_p, "midp")],
)
def test_poisson_limits_of_0_to_30_events(method, columns):
    """Garwood 1936, Biometrika 28:437-442 and its rounded tables; R 4.2.2 poisson.test.

    Mid-P computed from the formulas independently with scipy 1.17.1.
    """
    table = rows("poisson_limits_0_30.csv")
    observed = np.array([int(r["observed"]) for r in table])
    limits = method(observed)
    lower = [float(r[f"{columns}_lower"]) for r in table]
    upper = [float(r[f"{columns}_upper"]) for r in table]
    np.testing.assert_allclose(limits.lower, lower, rtol=0, atol=6e-7)
    np.testing.assert_allclose(limits.upper, upper, rtol=0, atol=6e-7)


def test_mid_p_upper_limit_of_no_events_is_the_log_of_20():
    """Closed form: half of exp(-m) is 0.025."""
    assert intervals.poisson_mid_p(0).upper == pytest.approx(np.log(20), abs=1e-12)


def test_ratio_limits_of_the_welsh_nickel_workers():
    """137 observed, 24.19893 expected: 5.66 (R documentation; exact limits R poisson.test)."""
    exact = intervals.garwood(137, 24.19893)
    mid = intervals.poisson_mid_p(137, 24.19893)
    assert (exact.lower, exact.upper) == pytest.approx((4.7531248048, 6.6927093342), abs=1e-8)
    assert (mid.lower, mid.upper) == pytest.approx((4.7712313899, 6.6712183476), abs=1e-7)


def test_infection_ratio_of_a_public_training_example():
    """4 observed, 1.504 predicted: CDC NHSN training slides, 21 March 2017; limits computed."""
    limits = intervals.poisson_mid_p(4, 1.504)
    assert float(np.divide(4, 1.504)) == pytest.approx(2.660, abs=5e-4)
    assert (limits.lower, limits.upper) == pytest.approx((0.8450433261, 6.4151859508), abs=1e-7)


def test_zero_denominator_has_no_limits():
    for method in BINOMIAL.values():
        assert np.isnan(method(0, 0).lower)
        assert np.isnan(method(0, 0).upper)
    for method in (intervals.garwood, intervals.poisson_mid_p):
        assert np.isnan(method(3, 0).lower)
        assert np.isnan(method(0, 0).upper)


def test_all_with_the_event_has_an_upper_limit_of_one():
    for method in BINOMIAL.values():
        limits = method([12, 1], [12, 1])
        assert limits.upper.tolist() == [1.0, 1.0]
        assert np.all(limits.lower > 0)


def test_shapes_broadcast():
    assert intervals.wilson([[1], [2]], [10, 20, 30]).lower.shape == (2, 3)
    assert intervals.garwood([1, 2, 3], 10).upper.shape == (3,)


@pytest.mark.parametrize(
    ("method", "arguments"),
    [
        (intervals.wilson, (5, 4)),
        (intervals.binomial_mid_p, (-1, 4)),
        (intervals.garwood, (-1, 4)),
        (intervals.poisson_mid_p, (1, -4)),
    ],
)
def test_impossible_counts_are_refused(method, arguments):
    with pytest.raises(ValueError, match="count"):
        method(*arguments)


def test_mid_p_covers_close_to_its_level_on_average():
    """Mid-P coverage averages near 95%."""
    from scipy import stats

    n, p = 40, np.linspace(0.05, 0.95, 181)
    x = np.arange(n + 1)
    mass = stats.binom.pmf(x[:, None], n, p)

    def coverage(method):
        limits = method(x, n)
        inside = (limits.lower[:, None] <= p) & (p <= limits.upper[:, None])
        return (mass * inside).sum(axis=0)

    assert coverage(intervals.binomial_mid_p).mean() == pytest.approx(0.955, abs=0.01)
