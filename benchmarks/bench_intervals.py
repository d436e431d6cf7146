"""Models of removal times known as intervals, and what else a Cox model is asked for.

A fifth of the removals are known to 4 h. Accelerated failure time of three laws is fitted to 6,000
episodes beside lifelines (its Weibull law alone, once), and to a million grouped to distinct
rows with weights, for which the peer is a plain Cox fit of the same rows.
"""

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import polars as pl

from benchmarks.removal_store import REASONS, SITES, draw
from pipeline.analysis.survival.aft_model import fit_aft_model
from pipeline.analysis.survival.removal_model import fit_removal_model

FEW, MANY = 6_000, 1_000_000
TERMS = ("age_years", "limb", "skin_glue", "tunnelled")
LIMBS = ("upper", "lower", "trunk")
IMPUTATIONS = 20


def main(episodes: int | None) -> None:
    """Print seconds and ratios."""
    few = _episodes(FEW)
    own, _ = _timed(lambda: fit_aft_model(_intervals(few), TERMS, until_h=72.0))
    peer, _ = _timed(lambda: _lifelines(few))
    print(f"{FEW:,} episodes from intervals, three laws, choice and check: {own:.2f} s")
    print(f"  lifelines, its Weibull law alone: {peer:.2f} s, {peer / own:.1f} times as long")
    n = episodes or MANY
    many = _episodes(n)
    grouped, rows = _timed(lambda: _intervals(many))
    own, _ = _timed(lambda: fit_aft_model(rows, TERMS, until_h=72.0))
    print(f"{n:,} episodes, grouped to {rows.height:,} rows in {grouped:.2f} s: {own:.2f} s")
    _cox(_exact(many))


def _cox(rows: pl.DataFrame) -> None:
    """Time what a Cox model of the same episodes is asked for, against the plain result."""
    plain, _ = _timed(lambda: fit_removal_model(rows, TERMS, "dislodged"))
    print(f"Cox with check, concordance, calibration and risks: {plain:.2f} s")
    asked: dict[str, dict[str, Any]] = {
        "within strata of twelve sites": {"strata": "site"},
        "with a random effect of twelve sites": {"random": "site"},
    }
    for what, more in asked.items():
        seconds, _ = _timed(lambda more=more: fit_removal_model(rows, TERMS, "dislodged", **more))
        print(f"  {what}: {seconds:.2f} s, {seconds / plain:.1f} times as long")
    lacking = rows.with_columns(
        skin_glue=pl.when(pl.int_range(pl.len()) % 20 > 0).then(pl.col("skin_glue"))
    )
    asked = {"impute": IMPUTATIONS}
    seconds, _ = _timed(lambda: fit_removal_model(lacking, TERMS, "dislodged", **asked))
    print(
        f"  with {IMPUTATIONS} imputations, a twentieth of the rows without a term: {seconds:.0f} s"
    )


def _timed(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def _episodes(n: int) -> pl.DataFrame:
    drawn, rng = draw(n, 0), np.random.default_rng(1)
    is_interval = pl.Series(rng.random(n) < 0.2) & (drawn["why"] >= 0)
    names = pl.Series([*REASONS, None])
    return drawn.with_columns(
        limb=pl.Series(LIMBS).gather(drawn["limb"]),
        site=pl.Series(SITES).gather(drawn["site"]),
        reason=names.gather(drawn["why"].replace(-1, len(REASONS))),
        half=pl.when(is_interval).then(2.0).otherwise(0.0),
        child=pl.when(pl.col("child") >= 0).then(pl.col("child")),
    )


def _intervals(drawn: pl.DataFrame) -> pl.DataFrame:
    """Group the episodes to distinct rows of unplanned removal."""
    unplanned = pl.col("reason").is_not_null() & (pl.col("reason") != "completed")
    after = pl.max_horizontal(pl.col("hours") - pl.col("half"), pl.lit(0.0))
    columns = drawn.with_columns(
        after_h=pl.when(unplanned).then(after).otherwise(pl.col("hours")),
        before_h=pl.when(unplanned).then(pl.col("hours") + pl.col("half")).otherwise(np.inf),
        reason=pl.when(unplanned).then(pl.lit("unplanned")),
    )
    return _counted(columns, ["after_h", "before_h"])


def _exact(drawn: pl.DataFrame) -> pl.DataFrame:
    return _counted(drawn, ["hours", "site"])


def _counted(drawn: pl.DataFrame, hours: list[str]) -> pl.DataFrame:
    keys = [*hours, "reason", "child", *TERMS]
    return drawn.group_by(keys).agg(pl.len().cast(pl.Int64).alias("n"))


def _lifelines(drawn: pl.DataFrame) -> None:
    from lifelines import WeibullAFTFitter

    rows = _intervals(drawn)
    frame = pl.DataFrame(
        {
            "lower": rows["after_h"].clip(0.25),
            "upper": rows["before_h"].clip(0.25),
            "n": rows["n"],
            "age_years": rows["age_years"],
            "trunk": rows["limb"] == "trunk",
            "upper_limb": rows["limb"] == "upper",
            "skin_glue": rows["skin_glue"],
            "tunnelled": rows["tunnelled"],
        }
    )
    columns = {name: frame[name].cast(pl.Float64).to_numpy() for name in frame.columns}
    fitter, table = WeibullAFTFitter(), pd.DataFrame(columns)
    fitter.fit_interval_censoring(table, "lower", "upper", weights_col="n")


if __name__ == "__main__":
    main(None)
