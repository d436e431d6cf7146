"""Multiple imputation against R's mice, and against what is known to be true.

Reference: R 4.2.2 with mice 3.15.0, the script `imputation.R` beside this file, which says
with what seeds. 2,000 imputations by `mice.impute.logreg`; pooled by `pool`.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from pipeline.analysis.comparison.completing import completed, with_terms
from pipeline.analysis.comparison.glm import fit_glm
from pipeline.analysis.comparison.imputation import (
    draw_means,
    events_of,
    imputed_ratios,
)
from pipeline.analysis.comparison.pattern_counts import NOT_RECORDED, SUMS, PatternCounts, Sums
from pipeline.analysis.comparison.pooling import pool

DATA = Path(__file__).parent / "data"
SITES, BANDS = ("avocet", "curlew", "dunlin"), ("middle", "old", "young")


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_rubins_rules_are_those_of_mice_to_the_last_digit() -> None:
    wanted = {row["quantity"]: float(row["value"]) for row in rows("imputation_rules_r.csv")}
    estimates = np.array([[0.31], [0.42], [0.28], [0.35], [0.39]])
    variances = np.array([[0.010], [0.012], [0.009], [0.011], [0.010]])
    found = pool(estimates, variances)
    assert found.estimate[0] == pytest.approx(wanted["qbar"], rel=1e-12)
    assert found.error[0] ** 2 == pytest.approx(wanted["t"], rel=1e-12)
    assert found.df[0] == pytest.approx(wanted["df"], rel=1e-12)
    assert found.missing_information[0] == pytest.approx(wanted["fmi"], rel=1e-9)


def design() -> tuple[np.ndarray, np.ndarray]:
    """Return a row an episode: intercept, two sites and two bands against the first; and y."""
    data = rows("imputation_invented.csv")
    columns = [np.ones(len(data))]
    columns += [np.array([row["site"] == site for row in data], float) for site in SITES[1:]]
    columns += [np.array([row["band"] == band for row in data], float) for band in BANDS[1:]]
    y = np.array([np.nan if row["y"] == "NA" else float(row["y"]) for row in data])
    return np.column_stack(columns), y


def test_imputed_coefficients_are_those_of_mice_within_the_chance_of_the_draws() -> None:
    X, y = design()
    patterns, pattern = np.unique(X, axis=0, return_inverse=True)
    known, gone, m = ~np.isnan(y), np.isnan(y), 500
    events = np.bincount(pattern[known], y[known], len(patterns))
    units = np.bincount(pattern[known], minlength=len(patterns)).astype(float)
    missing = np.bincount(pattern[gone], minlength=len(patterns)).astype(float)
    rng = np.random.default_rng(3)
    eta = draw_means(patterns, events, units, "proportion", rng=rng, m=m)
    fits = []
    for one in eta:
        drawn = events_of(one, missing, rng.random(missing.size), "proportion")
        fits.append(fit_glm(patterns, events + drawn, units + missing, "proportion"))
    found = pool(
        np.stack([fit.coefficients for fit in fits]), np.stack([fit.errors**2 for fit in fits])
    )
    wanted = rows("imputation_r.csv")
    assert [row["quantity"] for row in wanted] == [
        "(Intercept)", "sitecurlew", "sitedunlin", "bandold", "bandyoung"
    ]  # fmt: skip
    for place, row in enumerate(wanted):
        chance = np.sqrt(float(row["between"]) * (1 / m + 1 / 2000))
        assert abs(found.estimate[place] - float(row["estimate"])) < 4 * chance
        assert found.error[place] == pytest.approx(float(row["error"]), rel=0.03)


def counts_of(
    site: np.ndarray, band: np.ndarray, y: np.ndarray, levels: tuple[str, ...] = BANDS
) -> PatternCounts:
    """Reduce episodes to counts by site and band; y is NaN where it is not known."""
    cell, pattern = np.unique(np.stack([site, band]), axis=1, return_inverse=True)
    known = ~np.isnan(y)
    add = lambda values: np.bincount(pattern, values, cell.shape[1])  # noqa: E731
    n, events = add(known.astype(float)), add(np.where(known, y, 0.0))
    gone = add((~known).astype(float))
    sums = dict.fromkeys(SUMS, n) | {
        "with_event": events, "children_with_event": events, "numerator": events,
        "numerator_squared": events, "cross_product": events,
        "missing_episodes": gone, "missing_denominator": gone,
    }  # fmt: skip
    labels = {"site": SITES, "age_years": levels}
    return PatternCounts(labels, {"site": cell[0], "age_years": cell[1]}, Sums(**sums))


def invented(rng: np.random.Generator, n: int = 6000) -> tuple[np.ndarray, ...]:
    site, band = rng.integers(3, size=n), rng.integers(3, size=n)
    return site, band, rng.binomial(1, 0.1 + 0.1 * (site == 2) + 0.05 * band).astype(float)


def ratios(counts: PatternCounts) -> dict[str, tuple[float, float]]:
    found = imputed_ratios(counts, by="site", terms=("age_years",), kind="proportion")
    return {row.group: (row.complete, row.ratio) for row in found}


def test_without_missing_numerators_nothing_is_changed() -> None:
    for complete, imputed in ratios(counts_of(*invented(np.random.default_rng(1)))).values():
        assert imputed == pytest.approx(complete, rel=1e-9)


def test_what_is_missing_at_random_given_case_mix_is_brought_back() -> None:
    rng = np.random.default_rng(2)
    site, band, y = invented(rng, 20_000)
    whole = ratios(counts_of(site, band, y))
    gone = rng.random(y.size) < 0.1 + 0.5 * ((site == 2) & (band == 2))
    found = ratios(counts_of(site, band, np.where(gone, np.nan, y)))
    for group, (truth, _) in whole.items():
        assert found[group][1] == pytest.approx(truth, rel=0.06)


def test_the_turning_point_is_where_the_limits_begin_or_cease_to_leave_out_one() -> None:
    rng = np.random.default_rng(4)
    site, band, y = invented(rng, 3000)
    gone = (site == 2) & (rng.random(y.size) < 0.4)
    counts = counts_of(site, band, np.where(gone, np.nan, y))
    rows_ = imputed_ratios(counts, by="site", terms=("age_years",), kind="proportion")
    dunlin = {row.group: row for row in rows_}["dunlin"]
    assert dunlin.lower > 1
    assert 0.05 < dunlin.turning_point < 1
    assert all(np.isnan(row.turning_point) for row in rows_ if row.group != "dunlin")


def test_terms_not_recorded_are_drawn_from_episodes_alike_in_site_and_outcome() -> None:
    rng = np.random.default_rng(5)
    site, band, y = invented(rng, 9000)
    levels = (*BANDS[:1], NOT_RECORDED, *BANDS[1:])
    code = np.array([0, 2, 3])[band]
    code[rng.random(code.size) < 0.1] = 1
    counts = counts_of(site, code, y, levels)
    made = with_terms(counts, ("age_years",), rng)
    assert made.levels["age_years"] == BANDS
    assert made.sums.episodes.sum() == 9000
    assert made.sums.numerator.sum() == y.sum()
    rate = made.totals("age_years").numerator / made.totals("age_years").denominator
    truth = [y[band == place].mean() for place in range(3)]
    assert rate == pytest.approx(truth, abs=0.02)


def test_completed_counts_hold_every_episode() -> None:
    rng = np.random.default_rng(6)
    site, band, y = invented(rng, 500)
    y[::5] = np.nan
    counts = counts_of(site, band, y)
    made = completed(counts, np.zeros(counts.sums.episodes.size))
    assert made.sums.episodes.sum() == made.sums.denominator.sum() == 500
    assert made.sums.missing_episodes.sum() == 0


def test_fewer_than_20_imputations_are_refused() -> None:
    counts = counts_of(*invented(np.random.default_rng(7), 300))
    with pytest.raises(ValueError, match="at least 20"):
        imputed_ratios(counts, by="site", terms=(), kind="proportion", m=5)
