"""Adjusted ratios and shrunken estimates against R, statsmodels and a printed example.

Invented counts: data/case_mix_invented.csv. Figures: data/case_mix_r.csv, written by
case_mix.R with R 4.2.2 (glm, integrate) and lme4 1.1-31 (glmer).
"""

import csv
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import optimize

from pipeline.analysis.comparison import shrinkage
from pipeline.analysis.comparison.case_mix import expect
from tests.analysis.networks import counts_of

DATA = Path(__file__).parent / "data"
TERMS = ("age_years", "nerve_target", "planned_dwell_h")
SITES = ("avocet", "curlew", "dunlin", "godwit", "knot", "plover")
MEASURES = {
    "dislodgement": ("dislodged", "catheters", "proportion"),
    "leakage": ("leakage_contacts", "catheter_days", "rate"),
}
with (DATA / "case_mix_r.csv").open() as file:
    R = {(r["measure"], r["site"], r["quantity"]): float(r["value"]) for r in csv.DictReader(file)}


def as_counts(frame, events, units, factors):
    y, d = pl.col(events), pl.col(units)
    return counts_of(
        frame.select(
            *factors,
            d.alias("episodes"),
            y.alias("with_event"),
            d.alias("children"),
            y.alias("children_with_event"),
            pl.lit(0).alias("missing_episodes"),
            pl.lit(0).alias("missing_denominator"),
            y.alias("numerator"),
            d.alias("denominator"),
            y.alias("numerator_squared"),
            y.alias("cross_product"),
            d.alias("denominator_squared"),
        ),
        factors,
    )


def model_of(measure):
    events, units, kind = MEASURES[measure]
    frame = pl.read_csv(DATA / "case_mix_invented.csv")
    counts = as_counts(frame, events, units, ("site", *TERMS))
    return expect(counts, by="site", terms=TERMS, kind=kind), kind


@pytest.mark.parametrize("measure", MEASURES)
def test_expected_numbers_are_those_of_r_without_the_site(measure):
    model, kind = model_of(measure)
    assert model.groups == SITES
    assert model.terms == TERMS
    assert not model.is_penalised
    expected = [R[measure, s, "expected"] for s in SITES]
    np.testing.assert_allclose(model.expected, expected, rtol=1e-8)
    chance = model.expected if kind == "rate" else None
    if chance is not None:
        error = [R[measure, s, "expected_variance"] for s in SITES]
        np.testing.assert_allclose(model.variance / model.dispersion - chance, error, rtol=1e-6)


@pytest.mark.parametrize("measure", MEASURES)
@pytest.mark.parametrize("spread", [0.1, 0.3, 0.6])
def test_shrunken_differences_are_those_of_numerical_integration_in_r(measure, spread):
    model, kind = model_of(measure)
    got = shrinkage.shrink(
        model.observed, model.expected, model.denominator, kind=kind, spread=spread
    )
    shift = [R[measure, s, f"shift at {spread}"] for s in SITES]
    above = [R[measure, s, f"above at {spread}"] for s in SITES]
    np.testing.assert_allclose(got.shift, shift, atol=1e-7)
    np.testing.assert_allclose(got.above_network, above, atol=1e-4)


@pytest.mark.parametrize("measure", MEASURES)
def test_likelihood_of_the_spread_is_that_of_r(measure):
    """Differences between spreads: R's dbinom and dpois carry a constant."""
    model, kind = model_of(measure)
    numbers = (model.observed, model.expected, model.denominator)
    got = [shrinkage.log_marginal_likelihood(*numbers, s, kind) for s in (0.1, 0.3, 0.6)]
    want = [R[measure, "all", f"log likelihood at {s}"] for s in (0.1, 0.3, 0.6)]
    np.testing.assert_allclose(np.diff(got), np.diff(want), atol=1e-6)


@pytest.mark.parametrize("measure", MEASURES)
def test_best_fitting_spread_is_that_of_a_mixed_model(measure):
    """lme4's glmer with 25-point adaptive quadrature; its intercept moved into the offset."""
    model, kind = model_of(measure)
    o, e, n = model.observed, model.expected, model.denominator
    intercept = R[measure, "all", "lme4 intercept"]
    odds = e / (n - e) * np.exp(intercept)
    e = e * np.exp(intercept) if kind == "rate" else n * odds / (1 + odds)
    best = optimize.minimize_scalar(
        lambda s: -shrinkage.log_marginal_likelihood(o, e, n, s, kind), bounds=(0.05, 2)
    )
    assert best.x == pytest.approx(R[measure, "all", "lme4 spread"], abs=2e-4)


def test_indirect_standardisation_of_the_cancer_deaths_of_1940():
    """Selvin 2004, shipped as the example of R's epitools: 85556.89 expected, ratio 0.83.

    The model has one coefficient an age and is fitted on 1960 alone.
    """
    table = pl.read_csv(DATA / "selvin_indirect_standardisation.csv")
    frame = pl.concat(
        table.select(
            pl.lit(year).alias("site"),
            pl.col("age").alias("age_years"),
            pl.col(deaths).alias("y"),
            pl.col(people).alias("d").cast(float),
        )
        for year, deaths, people in (
            ("1940", "deaths1940_study", "pop1940_study"),
            ("1960", "deaths1960_standard", "pop1960_standard"),
        )
    )
    counts = as_counts(frame, "y", "d", ("site", "age_years"))
    model = expect(counts, by="site", terms=("age_years",), kind="rate")
    assert model.observed[0] == 71058
    assert model.expected[0] == pytest.approx(85556.8888445257, rel=1e-9)
    assert model.observed[0] / model.expected[0] == pytest.approx(0.830535109, abs=1e-8)


def test_a_binomial_fit_is_that_of_statsmodels_on_single_children():
    """The same children as rows of 0 and 1: statsmodels Logit with its own Newton steps."""
    import statsmodels.api as sm

    from pipeline.analysis.comparison.count_models import fit_counts

    rng = np.random.default_rng(5)
    design = np.column_stack([np.ones(12), np.tile([0, 1], 6), np.repeat([0, 1, 0], 4)])
    n = rng.integers(20, 60, 12)
    y = rng.binomial(n, 0.3)
    fit = fit_counts(design, y.astype(float), n.astype(float), "proportion")
    rows = np.repeat(design, n, axis=0)
    events = np.concatenate([np.repeat([1, 0], [a, b - a]) for a, b in zip(y, n, strict=True)])
    single = sm.Logit(events, rows).fit(disp=0, tol=1e-12)
    np.testing.assert_allclose(fit.coefficients, single.params, atol=1e-8)
    np.testing.assert_allclose(fit.covariance, single.cov_params(), atol=1e-8)
