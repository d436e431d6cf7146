"""Contrasts and segmented regression against print, statsmodels and R.

Invented counts: data/change_invented.csv. Figures: data/change_r.csv, written by
change.R with R 4.2.2 (glm with quasi families).
"""

import csv
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep
from statsmodels.stats.rates import confint_poisson_2indep

from pipeline.analysis.change.e_value import e_value
from pipeline.analysis.change.segmented import before_and_after, segmented_regression
from pipeline.analysis.comparison.contrasts import crude_contrast

DATA = Path(__file__).parent / "data"
CHANGE = 14
SERIES = pl.read_csv(DATA / "change_invented.csv")
OWN = SERIES.filter(pl.col("site") == "godwit").sort("month")
COLUMNS = {"rate": ("leaks", "days"), "proportion": ("dislodged", "catheters")}
with (DATA / "change_r.csv").open() as file:
    R = {
        (r["model"].strip(), r["term"].strip()): {
            k: float(r[k]) for k in ("ratio", "lower", "upper", "scale")
        }
        for r in csv.DictReader(file)
    }


@pytest.mark.parametrize(
    ("second", "first", "expected"),
    [
        ((56, 70), (48, 80), (0.2, 0.0524, 0.3339)),
        ((9, 10), (3, 10), (0.6, 0.1705, 0.8090)),
        ((5, 56), (0, 29), (0.0893, -0.0381, 0.1926)),
        ((10, 10), (0, 10), (1.0, 0.6075, 1.0)),
    ],
)
def test_difference_of_proportions_is_newcombes(second, first, expected):
    """Newcombe 1998, Stat Med 17:873-890, Table II, method 10 (recalled, not retrieved)."""
    got = crude_contrast(first, second, kind="proportion", multiplier=1)
    assert got.difference == pytest.approx(expected[0], abs=6e-5)
    assert got.difference_lower == pytest.approx(expected[1], abs=6e-5)
    assert got.difference_upper == pytest.approx(expected[2], abs=6e-5)
    low, high = confint_proportions_2indep(*second, *first, method="newcomb", compare="diff")
    assert (got.difference_lower, got.difference_upper) == pytest.approx((low, high), abs=1e-10)


@pytest.mark.parametrize(
    ("second", "first"),
    [((30, 410.0), (55, 380.0)), ((44, 290.5), (61, 320.0)), ((70, 800.0), (35, 900.0))],
)
def test_limits_of_two_rates_stay_near_the_score_limits(second, first):
    """statsmodels' score limits; those given the sum of events lie close by."""
    got = crude_contrast(first, second, kind="rate", multiplier=1)
    low, high = confint_poisson_2indep(*second, *first, method="score", compare="ratio")
    assert got.ratio == pytest.approx(second[0] / second[1] / (first[0] / first[1]))
    assert got.ratio_lower == pytest.approx(low, rel=0.02)
    assert got.ratio_upper == pytest.approx(high, rel=0.02)
    low, high = confint_poisson_2indep(*second, *first, method="score", compare="diff")
    width = high - low
    assert got.difference_lower == pytest.approx(low, abs=0.1 * width)
    assert got.difference_upper == pytest.approx(high, abs=0.1 * width)


def test_ratio_of_rates_is_that_of_an_exact_binomial_share():
    """scipy's binomtest, whose exact limits are a little wider than mid-P ones."""
    from scipy.stats import binomtest

    got = crude_contrast((55, 380.0), (30, 410.0), kind="rate")
    exact = binomtest(30, 85).proportion_ci(method="exact")
    low, high = (p / (1 - p) * 380 / 410 for p in (exact.low, exact.high))
    assert low < got.ratio_lower < 1.05 * low
    assert 0.95 * high < got.ratio_upper < high


def test_ratio_of_proportions_agrees_with_the_score_limits():
    """statsmodels' score (Koopman) limits of a risk ratio."""
    for second, first in (((56, 70), (48, 80)), ((12, 140), (25, 150))):
        got = crude_contrast(first, second, kind="proportion")
        low, high = confint_proportions_2indep(*second, *first, method="score", compare="ratio")
        assert got.ratio_lower == pytest.approx(low, rel=0.02)
        assert got.ratio_upper == pytest.approx(high, rel=0.02)


def segmented(kind, **kwargs):
    events, units = COLUMNS[kind]
    return segmented_regression(OWN[events], OWN[units], change=CHANGE, kind=kind, **kwargs)


@pytest.mark.parametrize("kind", COLUMNS)
def test_level_and_slope_are_those_of_r_with_quasi_likelihood(kind):
    got = segmented(kind)
    for effect, term in ((got.level, "a"), (got.slope, "s"), (got.earlier_slope, "t")):
        want = R[kind, term]
        assert effect.ratio == pytest.approx(want["ratio"], rel=1e-7)
        assert effect.lower == pytest.approx(want["lower"], rel=1e-6)
        assert effect.upper == pytest.approx(want["upper"], rel=1e-6)
        assert got.scale == pytest.approx(want["scale"], rel=1e-7)


def test_months_of_settling_in_are_left_out():
    got = segmented("rate", lag=2)
    assert got.level.ratio == pytest.approx(R["rate lag 2", "a"]["ratio"], rel=1e-7)
    assert got.level.upper == pytest.approx(R["rate lag 2", "a"]["upper"], rel=1e-6)
    assert np.isnan(got.fitted[CHANGE : CHANGE + 2]).all()
    assert np.isfinite(got.fitted[CHANGE + 2 :]).all()


@pytest.mark.parametrize("kind", COLUMNS)
def test_difference_in_differences_is_that_of_r(kind):
    sites = SERIES["site"].unique().sort()
    y, n = (
        SERIES.sort("site", "month")[column].to_numpy().reshape(len(sites), -1).astype(float)
        for column in COLUMNS[kind]
    )
    changed, after = (sites == "godwit").to_numpy(), np.arange(y.shape[1]) >= CHANGE
    _, mean = before_and_after(y, n, changed=changed, after=after, kind=kind)
    level = np.log(mean / (1 - mean) if kind == "proportion" else mean)
    step = level[:, -1] - level[:, 0]
    got = np.exp(step[changed][0] - step[~changed][0])
    assert got == pytest.approx(R[f"{kind} controls", "both"]["ratio"], rel=1e-7)


def test_e_values_are_those_of_smoking_and_lung_cancer():
    """Hammond and Horn's ratio of 10.73 (8.02 to 14.36): E-values 20.95 and 15.52.

    Ding P, VanderWeele TJ. Sensitivity analysis without assumptions. Epidemiology 2016; 27:
    368-377; the figures as the documentation of the R package EValue prints them.
    """
    assert e_value(10.73) == pytest.approx(20.94777, abs=5e-6)
    assert e_value(8.02) == pytest.approx(15.52336, abs=5e-6)
    assert e_value(1 / 8.02) == pytest.approx(e_value(8.02))
    assert e_value(1.0) == 1.0
