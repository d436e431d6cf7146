"""The regression models on counts: what aggregation, thin data and odd terms do."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.survival.cox import cox
from pipeline.analysis.survival.fine_gray import fine_gray
from pipeline.analysis.survival.model_data import ModelFit
from pipeline.analysis.survival.removal_model import fit_removal_model, model_data
from pipeline.analysis.survival.terms import aliased, code_terms, design

Fit = Callable[..., ModelFit]


def made_up(n: int = 1500, seed: int = 7, grid: float = 4.0) -> pl.DataFrame:
    """Invented episodes: older children and upper limbs lose fewer catheters."""
    rng = np.random.default_rng(seed)
    age = rng.integers(2, 18, n)
    limb = rng.choice(["upper", "lower", "trunk"], n, p=[0.4, 0.5, 0.1])
    glue = rng.random(n) < 0.4
    relative = np.exp(-0.05 * (age - 9) + 0.4 * (limb == "lower") - 0.5 * glue)
    out, other = rng.exponential(250 / relative), rng.exponential(300, n)
    hours = np.ceil(np.minimum(np.minimum(out, other), 72) / grid) * grid
    reason = np.where(out < np.minimum(other, 72), "dislodged", "leakage")
    reason = np.where(np.minimum(out, other) > 72, "completed", reason)
    known = rng.random(n) > 0.1
    child = np.where(rng.random(n) < 0.2, rng.integers(0, 60, n), -1)
    return pl.DataFrame(
        {
            "age_years": age,
            "limb": limb,
            "skin_glue": glue,
            "hours": hours,
            "reason": pl.Series(np.where(known, reason, None).tolist(), dtype=pl.String),
            "child": pl.Series([c if c >= 0 else None for c in child], dtype=pl.Int64),
            "n": np.ones(n, np.int64),
        }
    )


TERMS = ["age_years", "limb", "skin_glue"]
KEYS = [*TERMS, "hours", "reason", "child"]


def fitted(rows: pl.DataFrame, fit: Fit) -> ModelFit:
    patterns = rows.group_by(TERMS).agg(pl.col("n").sum()).sort(TERMS)
    return fit(model_data(rows, patterns, code_terms(patterns, TERMS), "dislodged"))


@pytest.mark.parametrize("fit", [cox, fine_gray])
def test_counts_give_the_fit_of_the_episodes(fit: Fit) -> None:
    rows = made_up()
    singly = fitted(rows, fit)
    counted = fitted(rows.group_by(KEYS).agg(pl.col("n").sum()), fit)
    assert counted.coefficients == pytest.approx(singly.coefficients, rel=1e-10)
    assert counted.se == pytest.approx(singly.se, rel=1e-10)
    assert counted.log_likelihood == pytest.approx(singly.log_likelihood)
    assert (counted.episodes, counted.children) == (singly.episodes, singly.children)


@pytest.mark.parametrize("fit", [cox, fine_gray])
def test_the_order_of_rows_does_not_matter(fit: Fit) -> None:
    rows = made_up()
    shuffled = fitted(rows.sample(fraction=1, shuffle=True, seed=3), fit)
    assert shuffled.coefficients == pytest.approx(fitted(rows, fit).coefficients, rel=1e-10)
    assert shuffled.se == pytest.approx(fitted(rows, fit).se, rel=1e-10)


def test_cox_agrees_with_lifelines() -> None:
    from lifelines import CoxPHFitter

    rows = made_up(800)
    own = fitted(rows, cox)
    made = design(rows, code_terms(rows.select(*TERMS, "n"), TERMS))
    labels = [f"{column.term} {column.level}" for column in made.columns]
    frame = pl.DataFrame(made.matrix, schema=labels).with_columns(
        hours=rows["hours"], event=rows["reason"].eq_missing("dislodged")
    )
    tight = {"precision": 1e-10}
    peer = CoxPHFitter().fit(
        frame.to_pandas(), "hours", "event", batch_mode=True, fit_options=tight
    )
    assert own.coefficients == pytest.approx(peer.params_.to_numpy(), abs=1e-5)
    assert own.model_based_se == pytest.approx(peer.standard_errors_.to_numpy(), abs=1e-5)


@pytest.mark.parametrize("model", ["cox", "finegray"])
def test_planted_effects_are_recovered(model: str) -> None:
    result = fit_removal_model(made_up(6000, grid=0.25), TERMS, "dislodged", model=model)
    assert result.fit is not None
    columns = [(c.term, c.level) for c in result.fit.columns]
    found = dict(zip(columns, result.fit.hazard_ratio, strict=True))
    assert found["skin_glue", "yes"] == pytest.approx(np.exp(-0.5), abs=0.08)
    assert found["limb", "upper"] == pytest.approx(np.exp(-0.4), abs=0.09)
    assert found["age_years", None] == pytest.approx(np.exp(-0.05), abs=0.02)


@pytest.mark.parametrize("model", ["cox", "finegray"])
def test_risks_of_both_models_agree_with_what_was_seen(model: str) -> None:
    rows = made_up(6000, grid=0.25)
    result = fit_removal_model(rows, TERMS, "dislodged", model=model)
    risks = {(r.child.term, r.child.value): r for r in result.risks}
    with_glue, without = risks["skin_glue", "yes"], risks["skin_glue", "no"]
    assert with_glue.risk < without.risk
    for risk in result.risks:
        assert 0 < risk.lower < risk.risk < risk.upper < 1
    assert without.risk == pytest.approx(0.257, abs=0.03)  # lower limb, age 9: by simulation


def test_cox_and_fine_gray_risks_are_close() -> None:
    rows = made_up(6000, grid=0.25)
    by = [fit_removal_model(rows, TERMS, "dislodged", model=m).risks for m in ("cox", "finegray")]
    assert [r.risk for r in by[0]] == pytest.approx([r.risk for r in by[1]], abs=0.015)


def test_a_term_that_the_events_cannot_carry_is_left_out_and_said() -> None:
    rows = made_up(300)
    rows = rows.with_columns(
        site=pl.Series(np.random.default_rng(1).choice(list("abcdefghijkl"), 300).tolist())
    )
    result = fit_removal_model(rows, ["age_years", "site", "skin_glue"], "dislodged")
    assert result.fit is not None
    assert [c.term for c in result.fit.columns] == ["age_years", "skin_glue"]
    (left,) = result.left_out
    assert (left.term, left.why, left.wanted) == ("site", "few_events", 12)
    assert left.events < 120


def test_missing_values_are_dropped_and_counted() -> None:
    rows = made_up().with_row_index()
    rows = rows.with_columns(
        age_years=pl.when(pl.col("index") % 10 == 0).then(None).otherwise(pl.col("age_years")),
        skin_glue=pl.when(pl.col("index") % 15 == 0).then(None).otherwise(pl.col("skin_glue")),
    )
    result = fit_removal_model(rows, TERMS, "dislodged")
    assert result.fit is not None
    assert result.missing == 200
    assert result.missing_by_term == {"age_years": 150, "skin_glue": 100}
    assert result.fit.episodes == 1300
    alone = fit_removal_model(rows.drop_nulls(TERMS), TERMS, "dislodged")
    assert alone.fit is not None
    assert result.fit.coefficients == pytest.approx(alone.fit.coefficients, rel=1e-12)


def test_a_level_without_an_event_leaves_the_model_as_its_limit() -> None:
    rows = made_up()
    never = (pl.col("limb") == "trunk") & (pl.col("reason") == "dislodged")
    rows = rows.with_columns(reason=pl.when(never).then(pl.lit("leakage")).otherwise("reason"))
    result = fit_removal_model(rows, TERMS, "dislodged")
    assert result.fit is not None
    assert [(x.term, x.level) for x in result.left_out] == [("limb", "trunk")]
    kept = rows.filter(pl.col("limb") != "trunk")
    alone = fit_removal_model(kept, TERMS, "dislodged")
    assert alone.fit is not None
    assert result.fit.coefficients == pytest.approx(alone.fit.coefficients, rel=1e-12)


@pytest.mark.parametrize("model", ["cox", "finegray"])
def test_a_collinear_and_a_constant_term_are_left_out_and_said(model: str) -> None:
    rows = made_up().with_columns(months=pl.col("age_years") * 12, one=pl.lit("x"))
    result = fit_removal_model(rows, [*TERMS, "months", "one"], "dislodged", model=model)
    assert result.fit is not None
    said = {left.term: left.why for left in result.left_out}
    assert said == {"months": "told_before", "one": "constant"}


def test_a_term_with_removals_at_one_level_alone_is_left_out_and_said() -> None:
    upper = (pl.col("limb") != "lower") & (pl.col("reason") == "dislodged")
    rows = made_up().with_columns(reason=pl.when(upper).then(pl.lit("leakage")).otherwise("reason"))
    result = fit_removal_model(rows, TERMS, "dislodged")
    assert [(left.term, left.why) for left in result.left_out] == [("limb", "one_level")]


def test_an_unknown_term() -> None:
    with pytest.raises(KeyError, match="shoe_size"):
        fit_removal_model(made_up(50), ["shoe_size"], "dislodged")


@pytest.mark.parametrize("model", ["cox", "finegray"])
def test_no_event_is_said(model: str) -> None:
    result = fit_removal_model(made_up(100), TERMS, "imaging", model=model)
    assert result.fit is None
    assert [left.why for left in result.left_out] == ["no_event"] * 3


def test_everyone_at_one_hour() -> None:
    rows = made_up(600).with_columns(hours=pl.lit(72.0))
    result = fit_removal_model(rows, TERMS, "dislodged")
    assert result.fit is not None
    assert np.all(np.isfinite(result.fit.se))


def test_separation_by_a_number_is_said() -> None:
    n = 400
    rows = pl.DataFrame(
        {
            "age_years": np.repeat([2, 16], n // 2),
            "hours": np.tile(np.arange(1.0, 41.0), n // 40),
            "reason": pl.Series(["dislodged"] * (n // 2) + ["completed"] * (n // 2)),
            "n": np.ones(n, np.int64),
        }
    )
    result = fit_removal_model(rows, ["age_years"], "dislodged")
    assert result.fit is None
    assert result.left_out[-1].why == "not_estimable"
    assert "separates" in result.left_out[-1].message


def test_aliased_columns() -> None:
    x = np.random.default_rng(0).normal(size=(50, 3))
    made = np.column_stack([x[:, 0], x[:, 1], x[:, 0] + x[:, 1], x[:, 2], np.ones(50)])
    assert aliased(made) == [2, 4]


def test_references_and_levels() -> None:
    patterns = made_up(300).select(*TERMS, "n")
    age, limb, glue = code_terms(patterns, TERMS)
    assert [(c.term, c.level) for c in age.columns] == [("age_years", None)]
    assert limb.levels[0] == "lower"  # the most frequent
    assert [c.level for c in limb.columns] == ["trunk", "upper"]
    assert glue.levels == ("no", "yes")
