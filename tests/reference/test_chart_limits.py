"""Limits of control charts against printed figures; each test names its source.

Figures marked "recomputed" come from the stated formulas with numpy and scipy
alone, to more digits than the source prints.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.phases import Need
from pipeline.analysis.charts.rare import g_limits, gaps, t_limits
from pipeline.analysis.rates.distributions import poisson_quantile

DATA = Path(__file__).parent / "data"


def column(name: str, field: str) -> np.ndarray:
    with (DATA / name).open() as file:
        return np.array([float(row[field]) for row in csv.DictReader(file)])


def chart_of(numerator, denominator, kind, **options):
    periods = tuple(f"{i + 1:03d}" for i in range(len(numerator)))
    chart = Counts(periods, numerator, denominator)
    return control_chart(chart, kind=kind, forced=True, need=Need(len(numerator), 0), **options)


def three_sigma(chart, way=1):
    """Return the limits that print has; the charts' own leave the same tail area exactly."""
    return np.maximum(chart.centre + way * 3 * chart.sigma, 0)


def beyond(chart):
    """Return the samples beyond three sigma, counted from one."""
    out = (chart.value > three_sigma(chart) + 1e-9) | (chart.value < three_sigma(chart, -1) - 1e-9)
    return (np.flatnonzero(out) + 1).tolist()


def test_p_chart_of_equal_samples_is_the_wafer_example():
    """NIST/SEMATECH e-Handbook 6.3.3.2; limits recalled from Montgomery, ch. 7."""
    defectives = column("nist_6_3_3_2_pchart.csv", "defectives")
    chart = chart_of(defectives, np.full(30, 50), "p")
    assert defectives.sum() == 347
    assert chart.centre[0] == pytest.approx(0.2313, abs=5e-5)
    assert three_sigma(chart)[0] == pytest.approx(0.4102, abs=5e-5)
    assert three_sigma(chart, -1)[0] == pytest.approx(0.0524, abs=5e-5)
    assert three_sigma(chart)[0] == pytest.approx(0.4102391186, abs=1e-9)  # recomputed
    assert beyond(chart) == [15, 23]


def test_p_chart_without_two_samples_has_the_revised_limits():
    """Montgomery, ch. 7 (recalled): dropping samples 15 and 23."""
    kept = np.delete(column("nist_6_3_3_2_pchart.csv", "defectives"), [14, 22])
    chart = chart_of(kept, np.full(28, 50), "p")
    assert chart.centre[0] == pytest.approx(0.2150, abs=5e-5)
    assert three_sigma(chart)[0] == pytest.approx(0.3893, abs=5e-5)
    assert three_sigma(chart, -1)[0] == pytest.approx(0.0407, abs=5e-5)
    assert beyond(chart) == [20]  # sample 21, at 0.40


def test_u_chart_of_equal_units_does_not_signal_on_the_limit_itself():
    """NIST/SEMATECH e-Handbook 6.3.3.1: wafer 3 has 28, the limit is 28."""
    chart = chart_of(column("nist_6_3_3_1_cchart.csv", "defects"), np.ones(25), "u")
    assert (chart.centre[0], three_sigma(chart)[0], three_sigma(chart, -1)[0]) == (16, 28, 4)
    assert beyond(chart) == [24]


def test_u_chart_with_unequal_exposure_is_the_dyed_cloth_example():
    """Montgomery, dyed cloth (recalled, not retrieved)."""
    units = np.array([10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5])
    defects = np.array([14, 12, 20, 11, 7, 10, 21, 16, 19, 23])
    chart = chart_of(defects, units, "u")
    printed = {10: (2.55, 0.29), 8: (2.68, 0.16), 13: (2.41, 0.43), 9.5: (2.58, 0.26),
               12: (2.45, 0.39), 10.5: (2.52, 0.32), 12.5: (2.43, 0.41)}  # fmt: skip
    assert chart.centre[0] == pytest.approx(1.42, abs=0.005)
    for i, n in enumerate(units):
        found = three_sigma(chart)[i], three_sigma(chart, -1)[i]
        assert found == pytest.approx(printed[n], abs=0.011)
    assert beyond(chart) == []


def test_p_chart_with_unequal_denominators():
    """Defective motors, Dataplot CCP.DAT (NIST, public domain); limits recomputed."""
    n, d = column("dataplot_ccp_pchart.csv", "n"), column("dataplot_ccp_pchart.csv", "d")
    chart = chart_of(d, n, "p")
    assert chart.centre[0] == pytest.approx(0.0994014536, abs=1e-10)
    np.testing.assert_allclose(
        three_sigma(chart, -1), column("dataplot_ccp_pchart.csv", "p_lcl"), atol=6e-9
    )
    np.testing.assert_allclose(
        three_sigma(chart), column("dataplot_ccp_pchart.csv", "p_ucl"), atol=6e-9
    )
    assert three_sigma(chart)[6] == pytest.approx(0.1448532382, abs=1e-10)
    assert three_sigma(chart)[16] == pytest.approx(0.2204339242, abs=1e-10)
    assert beyond(chart) == [14]


def test_laney_p_chart_widens_by_sigma_z():
    """Laney 2002, Qual Eng 14:531-537, for the formula; figures recomputed on CCP.DAT."""
    n, d = column("dataplot_ccp_pchart.csv", "n"), column("dataplot_ccp_pchart.csv", "d")
    chart = chart_of(d, n, "p'")
    plain = np.sqrt(chart.centre * (1 - chart.centre) / n)
    assert chart.sigma[0] / plain[0] == pytest.approx(1.3781366314, abs=1e-9)
    assert chart.upper[[0, 13, 16]] == pytest.approx(
        [0.2100435799, 0.1868717347, 0.2662007349], abs=1e-9
    )
    unclipped = chart.centre - 3 * chart.sigma
    assert unclipped[[0, 13, 16]] == pytest.approx(
        [-0.0112406727, 0.0119311726, -0.0673978277], abs=1e-9
    )
    assert chart.lower[0] == 0
    assert beyond(chart) == []


def test_u_chart_and_laney_u_chart_of_plastic_wire():
    """Dataplot CCU.DAT, after Ishikawa, Guide to Quality Control, pp. 81-83; recomputed."""
    size = column("dataplot_ccu_uchart.csv", "size")
    defects = column("dataplot_ccu_uchart.csv", "defects")
    chart = chart_of(defects, size, "u")
    assert chart.centre[0] == pytest.approx(2.1189189189, abs=1e-10)
    printed = {2.0: 5.2068203317, 2.25: 5.0302202904, 2.5: 4.8808219056, 2.75: 4.7522900919}
    for i, n in enumerate(size):
        assert three_sigma(chart)[i] == pytest.approx(printed[n], abs=1e-9)
    laney = chart_of(defects, size, "u'")
    assert laney.sigma[0] / chart.sigma[0] == pytest.approx(0.4715887118, abs=1e-9)
    assert (laney.lower[0], laney.upper[0]) == pytest.approx((0.6626994696, 3.5751383682), abs=1e-9)


def test_u_chart_of_ishikawas_counts_of_equal_units():
    """Dataplot CCC.DAT, after Ishikawa, pp. 83-84; recomputed."""
    chart = chart_of(column("dataplot_ccc_cchart.csv", "defects"), np.ones(20), "u")
    assert chart.centre[0] == pytest.approx(5.65, abs=1e-12)
    assert three_sigma(chart)[0] == pytest.approx(12.7809185944, abs=1e-9)
    assert beyond(chart) == [20]


@pytest.mark.parametrize("kind", ["p", "u"])
def test_limits_leave_the_tail_area_of_three_sigma_by_half_of_their_own_chance(kind):
    """By scipy's laws: the last count whose mid-P area is not under 0.00135 is still inside."""
    n, x = np.resize([8, 15, 22, 31, 400], 40), np.resize([1, 0, 2, 1, 60], 40)
    chart = chart_of(x, n, kind)
    rate = chart.centre[0]
    laws = [stats.binom(m, rate) if kind == "p" else stats.poisson(m * rate) for m in n]
    for law, m, low, high in zip(laws, n, chart.lower * n, chart.upper * n, strict=True):
        areas = [law.sf(k) + law.pmf(k) / 2 for k in (round(high), round(high) + 1)]
        assert areas[0] >= 0.001349898 > areas[1] or round(high) == m
        below = [law.cdf(k - 1) + law.pmf(k) / 2 for k in (round(low), round(low) - 1)]
        assert below[0] >= 0.001349898 > below[1]


def test_g_chart_has_geometric_probability_limits():
    """Made-up gaps; quantiles by scipy.stats.geom, mean form after Benneyan 2001.

    The usual mean plus three sigma, 41.46, would leave 1.8% above it: why the
    limits here are quantiles.
    """
    between = np.array([10, 4, 17, 0, 8, 25, 3, 12, 6, 15])
    centre, lower, upper = g_limits(np.array([between.mean()]))
    assert (centre[0], lower[0], upper[0]) == (7, 0, 69)
    p = 1 / (between.mean() + 1)
    assert stats.geom.sf(np.floor(10 + 3 * np.sqrt(110)) + 1, p) == pytest.approx(
        0.0182602712, abs=1e-9
    )
    means = np.array([0.2, 1, 7.5, 40, 900])
    for q, line in zip((0.5, 0.00134989803, 0.99865010197), g_limits(means), strict=True):
        np.testing.assert_array_equal(line, stats.geom.ppf(q, 1 / (means + 1)) - 1)


def test_gaps_count_catheters_strictly_between_events():
    np.testing.assert_array_equal(gaps([5, 6, 20], between=True), [4, 0, 13])
    np.testing.assert_array_equal(gaps([5.5, 6, 20], between=False), [5.5, 0.5, 14])


def test_t_chart_has_exponential_probability_limits():
    """Valve failures, Montgomery (recalled, not retrieved); multipliers recomputed."""
    hours = column("montgomery_valve_t_chart_from_memory.csv", "hours")
    assert hours.mean() == pytest.approx(710.05, abs=1e-9)
    centre, lower, upper = t_limits(np.array([hours.mean()]))
    assert lower[0] / 710.05 == pytest.approx(0.00135081, abs=1e-9)
    assert centre[0] / 710.05 == pytest.approx(0.6931471806, abs=1e-10)
    assert upper[0] / 710.05 == pytest.approx(6.6077262215, abs=1e-9)


@pytest.mark.parametrize("observed", range(1, 31))
def test_exact_poisson_limits_are_dual_to_garwoods_intervals(observed):
    """Garwood 1936, Biometrika 28:437-442, table for 0 to 30 (rounded figures recalled).

    A mean just over the lower 95% limit of `observed` is the first under which that
    count is no longer beyond the upper 2.5% quantile; likewise the upper limit.
    """
    table = column("poisson_limits_0_30.csv", "observed")
    row = int(np.flatnonzero(table == observed)[0])
    lower = column("poisson_limits_0_30.csv", "exact_lower")[row]
    upper = column("poisson_limits_0_30.csv", "exact_upper")[row]
    means = np.array([lower * (1 - 1e-4), lower * (1 + 1e-4)])
    assert poisson_quantile(0.975, means).tolist() == [observed - 1, observed]
    means = np.array([upper * (1 - 1e-4), upper * (1 + 1e-4)])
    assert poisson_quantile(0.025, means).tolist() == [observed, observed + 1]
