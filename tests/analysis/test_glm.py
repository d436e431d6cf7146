"""Newton's fits against statsmodels, dense and sparse; and where data leave a fit open."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import sparse

from pipeline.analysis.comparison.glm import fit_glm

ROWS = 400


def made_up(kind, seed=1):
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(ROWS), rng.random((ROWS, 3)) < 0.4]).astype(float)
    d = rng.integers(5, 60, ROWS).astype(float)
    eta = X @ [-2.0, 0.6, -0.4, 0.2]
    if kind == "proportion":
        return X, rng.binomial(d.astype(int), 1 / (1 + np.exp(-eta))).astype(float), d
    return X, rng.poisson(d * np.exp(eta)).astype(float), d


@pytest.mark.parametrize("kind", ["proportion", "rate"])
@pytest.mark.parametrize("shape", [np.asarray, sparse.csr_array])
def test_a_fit_is_that_of_statsmodels(kind, shape):
    X, y, d = made_up(kind)
    if kind == "proportion":
        model = sm.GLM(np.column_stack([y, d - y]), X, family=sm.families.Binomial())
    else:
        model = sm.GLM(y, X, family=sm.families.Poisson(), exposure=d)
    theirs, ours = model.fit(tol=1e-12), fit_glm(shape(X), y, d, kind)
    assert ours.coefficients == pytest.approx(theirs.params, rel=1e-8)
    assert ours.covariance == pytest.approx(theirs.cov_params(), rel=1e-7, abs=1e-12)
    assert ours.errors == pytest.approx(theirs.bse, rel=1e-7)
    assert ours.pearson == pytest.approx(float(theirs.pearson_chi2), rel=1e-7)
    assert ours.spare == theirs.df_resid


def test_where_it_begins_does_not_matter():
    X, y, d = made_up("proportion")
    far = fit_glm(X, y, d, "proportion", start=np.array([3.0, -3.0, 3.0, -3.0]))
    assert far.coefficients == pytest.approx(fit_glm(X, y, d, "proportion").coefficients, abs=1e-9)


def test_a_level_with_every_event_runs_away_and_stops():
    X = np.column_stack([np.ones(40), np.repeat([0.0, 1.0], 20)])
    y = np.where(X[:, 1] > 0, 10.0, 4.0)
    fit = fit_glm(X, y, np.full(40, 10.0), "proportion")
    assert fit.coefficients[1] > 12


def test_two_columns_that_tell_the_same_still_predict():
    X, y, d = made_up("rate")
    twice = np.column_stack([X, X[:, 1]])
    fit = fit_glm(twice, y, d, "rate")
    assert twice @ fit.coefficients == pytest.approx(X @ fit_glm(X, y, d, "rate").coefficients)
