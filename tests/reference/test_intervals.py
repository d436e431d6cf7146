"""Accelerated failure time from intervals against R's survreg and lifelines."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.survival.aft import IntervalData, fit_aft
from pipeline.analysis.survival.aft_family import FAMILIES
from pipeline.analysis.survival.model_data import ALONE
from pipeline.analysis.survival.terms import Coefficient, Design

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def invented() -> pl.DataFrame:
    rows = pl.read_csv(DATA / "intervals_invented.csv", schema_overrides={"before": pl.String})
    return rows.with_columns(pl.col("before").str.to_lowercase().cast(pl.Float64))


def data(rows: pl.DataFrame, child: np.ndarray | None = None) -> IntervalData:
    patterns, pattern = np.unique(
        rows.select("age", "glue").to_numpy().astype(float), axis=0, return_inverse=True
    )
    columns = tuple(Coefficient(term, None, None) for term in ("age", "glue"))
    return IntervalData(
        Design(patterns, columns), pattern.ravel(), rows["after"].to_numpy(),
        rows["before"].to_numpy(), rows["n"].to_numpy(),
        np.full(rows.height, ALONE) if child is None else child,
    )  # fmt: skip


@pytest.mark.parametrize("family", FAMILIES)
def test_coefficients_are_those_of_survreg(invented: pl.DataFrame, family: str) -> None:
    # R 4.2.2, survival 3.5-3: intervals.R.
    expected = pl.read_csv(DATA / "intervals_r.csv").filter(law=family)
    (fit,) = fit_aft(data(invented), (family,))
    assert fit.log_likelihood == pytest.approx(expected["log_likelihood"][0], abs=1e-6)
    assert fit.coefficients == pytest.approx(expected["coefficient"].to_numpy(), abs=1e-6)
    # Its errors take every catheter as of another child and the law as true.
    assert fit.se == pytest.approx(expected["se"].to_numpy(), rel=0.15)


def test_lifelines_finds_the_same_weibull(invented: pl.DataFrame) -> None:
    from lifelines import WeibullAFTFitter

    frame = invented.to_pandas()
    theirs = WeibullAFTFitter().fit_interval_censoring(frame, "after", "before", weights_col="n")
    (fit,) = fit_aft(data(invented), ("weibull",))
    assert fit.log_likelihood == pytest.approx(theirs.log_likelihood_, abs=1e-5)
    own = [fit.coefficients[1], fit.coefficients[2], fit.coefficients[0], -fit.coefficients[3]]
    assert own == pytest.approx(theirs.params_.to_numpy(), abs=2e-4)


def test_twice_the_same_children_tell_no_more(invented: pl.DataFrame) -> None:
    each = invented.select(pl.exclude("n").repeat_by("n").explode(), pl.col("n").repeat_by("n")
        .explode().clip(upper_bound=1))  # fmt: skip
    child = np.arange(each.height)
    (once,) = fit_aft(data(each), ("weibull",))
    (twice,) = fit_aft(data(pl.concat([each, each]), np.tile(child, 2)), ("weibull",))
    assert twice.coefficients == pytest.approx(once.coefficients, abs=1e-7)
    assert twice.se == pytest.approx(once.se, rel=1e-6)


def test_hours_are_the_area_under_the_curve(invented: pl.DataFrame) -> None:
    (fit,) = fit_aft(data(invented), ("lognormal",))
    pattern = np.array([[6.0, 1.0]])
    grid = np.arange(0.005, 72, 0.01)
    mean, slope = fit.mean_hours(pattern, 72.0)
    assert mean[0] == pytest.approx(fit.still_in_place(pattern, grid).sum() * 0.01, abs=1e-4)
    assert slope.shape == (1, 4)
