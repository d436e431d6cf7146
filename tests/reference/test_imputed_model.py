"""Removal models with missing terms imputed, against R's mice.

Reference: R 4.2.2 with mice 3.15.0, survival 3.5.3 and cmprsk 2.2.11, the script
`imputed_model.R` beside this file, which says with what seeds: 400 imputations (pmm, polyreg,
logreg; five cycles), coxph with robust errors and crr, pooled by `pool.scalar`.
"""

import csv
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.comparison.pooling import nearest_turn
from pipeline.analysis.survival import imputed_model
from pipeline.analysis.survival.aft_model import fit_aft_model
from pipeline.analysis.survival.imputed_model import ImputedModel
from pipeline.analysis.survival.model_data import Model
from pipeline.analysis.survival.removal_model import fit_removal_model

DATA = Path(__file__).parent / "data"
TERMS = ["age", "limb", "glue"]


def invented() -> pl.DataFrame:
    """Return the invented episodes as counts, as the store would give them."""
    rows = pl.read_csv(DATA / "imputed_model_invented.csv", null_values="NA")
    kinds = {0: None, 1: "dislodged", 2: "completed"}
    return (
        rows.with_columns(
            reason=pl.col("kind").replace_strict(kinds, return_dtype=pl.String),
            glue=pl.col("glue") == 1,
        )
        .group_by("hours", "reason", *TERMS)
        .agg(pl.len().cast(pl.Int64).alias("n"))
    )


def imputed(
    rows: pl.DataFrame, m: int = 20, terms: Sequence[str] = TERMS, **options: Any
) -> ImputedModel:
    found = fit_removal_model(rows, terms, "dislodged", impute=m, **options).imputed
    assert found is not None
    return found


def ratios(found: ImputedModel) -> list[float]:
    return [term.ratio for term in found.terms]


@pytest.fixture
def no_turning_points(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the greater part of the work where it is not looked at."""
    monkeypatch.setattr(imputed_model, "_turning_point", lambda *_: np.nan)


@pytest.mark.usefixtures("no_turning_points")
@pytest.mark.parametrize("model", ["cox", "finegray"])
def test_ratios_are_those_of_mice_within_the_chance_of_the_draws(model: Model) -> None:
    m = 100
    found = imputed(invented(), m, model=model)
    with (DATA / "imputed_model_r.csv").open(encoding="utf-8") as file:
        wanted = [row for row in csv.DictReader(file) if row["model"] == model]
    assert [row["term"] for row in wanted] == ["age", "limbtrunk", "limbupper", "glue1"]
    for term, row in zip(found.terms, wanted, strict=True):
        chance = np.sqrt(float(row["between"]) * (1 / m + 1 / 400))
        assert abs(np.log(term.ratio) - float(row["estimate"])) < 4 * chance
        error = np.log(term.upper / term.lower) / (2 * 1.96)
        assert error == pytest.approx(float(row["error"]), rel=0.05)


def test_nothing_missing_changes_nothing_and_has_no_turning_point() -> None:
    rows = invented().drop_nulls(TERMS)
    result = fit_removal_model(rows, TERMS, "dislodged", impute=20)
    assert result.fit is not None
    assert result.imputed is not None
    assert ratios(result.imputed) == pytest.approx(result.fit.hazard_ratio.tolist(), rel=1e-9)
    assert all(np.isnan(term.turning_point) for term in result.imputed.terms)
    gone = [term.missing_information for term in result.imputed.terms]
    assert gone == pytest.approx([0.0] * len(gone), abs=1e-12)


@pytest.mark.usefixtures("no_turning_points")
def test_what_goes_missing_with_the_outcome_biases_complete_cases_and_is_brought_back() -> None:
    rng = np.random.default_rng(8)
    n, true = 6000, np.log(0.5)
    age, glue = rng.integers(1, 17, n), rng.random(n) < 0.5
    limb = rng.choice(["lower", "upper"], n)
    first = rng.exponential(100 / np.exp(true * glue))
    hours = np.ceil(np.minimum(first, 72))
    out = first < 72
    # Limb is not recorded mostly of older children whose catheter came out early: at random.
    gone = rng.random(n) < np.where(out & (age > 8) & (hours < 36), 0.8, 0.05)
    rows = pl.DataFrame(
        {"hours": hours, "age": age, "limb": limb, "glue": glue, "n": np.ones(n, np.int64)}
    ).with_columns(
        reason=pl.when(pl.Series(out)).then(pl.lit("dislodged")),
        limb=pl.when(~pl.Series(gone)).then(pl.col("limb")),
    )
    result = fit_removal_model(rows, TERMS, "dislodged", impute=20)
    assert result.fit is not None
    assert result.imputed is not None
    assert result.fit.columns[0].term == "age"  # which makes no difference in truth
    assert result.fit.upper[0] < 0.97
    assert result.imputed.terms[0].ratio == pytest.approx(1, abs=0.01)
    assert np.log(result.imputed.terms[-1].ratio) == pytest.approx(true, abs=0.1)
    assert result.imputed.episodes == n


@pytest.mark.usefixtures("no_turning_points")
def test_rows_in_another_order_give_the_same_digits() -> None:
    rows = invented()
    again = rows.sample(fraction=1, shuffle=True, seed=4)
    assert repr(imputed(rows)) == repr(imputed(again))


def test_the_turning_point_is_the_first_departure_at_which_the_limits_change_sides(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    said: dict[float, int] = {}

    def recorded(says: Callable[[float], int], steps: Sequence[float]) -> float:
        said.update({step: says(step) for step in [0.0, *steps, *(-s for s in steps)]})
        return nearest_turn(says, steps)

    monkeypatch.setattr(imputed_model, "nearest_turn", recorded)
    (glue,) = imputed(invented(), terms=["glue"]).terms
    assert glue.upper < 1
    assert said[0.0] == -1
    turned = np.log(glue.turning_point)
    assert said[turned] != -1
    assert all(side == -1 for step, side in said.items() if 0 < step / turned < 0.999)
    assert list(dict(sorted(said.items())).values()) == sorted(said.values())


@pytest.mark.usefixtures("no_turning_points")
def test_strata_and_time_ratios_are_imputed_too() -> None:
    site = pl.Series("site", ["avocet", "curlew"] * 2000)
    rows = invented()
    rows = rows.with_columns(site[: rows.height])
    assert len(imputed(rows, strata="site").terms) == 4
    intervals = rows.select(
        after_h=pl.col("hours") - 1.0,
        before_h=pl.when(pl.col("reason") == "dislodged")
        .then(pl.col("hours").cast(pl.Float64))
        .otherwise(np.inf),
        reason=pl.when(pl.col("reason") == "dislodged").then(pl.lit("unplanned")),
        n="n",
        child=pl.lit(None, pl.Int64),
        **{name: name for name in TERMS},
    )
    found = fit_aft_model(intervals, TERMS, until_h=72, impute=20)
    assert found.imputed is not None
    # Invented from laws under which a time ratio is one over the hazard ratio.
    hazard = [1 / one for one in ratios(imputed(rows))]
    assert ratios(found.imputed) == pytest.approx(hazard, rel=0.1)


def test_fewer_than_20_imputations_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 20"):
        imputed(invented(), 5)
