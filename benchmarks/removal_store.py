"""Invented episodes for the removal benchmark, in a store and as flat columns for peers."""

from pathlib import Path

import numpy as np
import polars as pl

from pipeline.store import open_store
from pipeline.store.schema import bring_up_to_date

CHUNK = 1_000_000
SITES = tuple(f"site_{i:02}" for i in range(12))
REASONS = ("completed", "dislodged", "leakage", "dressing_failure", "pump_fault", "other")
NERVES = ("axillary", "femoral", "trunk_wall")  # upper, lower, trunk
# Coefficients of the log hazard of dislodgement; invented.
EFFECTS = {"age_years": -0.03, "lower": 0.3, "trunk": -0.2, "skin_glue": -0.5, "tunnelled": -0.3}


def draw(n: int, seed: int) -> pl.DataFrame:
    """Draw `n` episodes on a 0.25 h grid: six reasons, twelve sites, a tenth censored."""
    rng = np.random.default_rng(seed)
    age, site = rng.integers(0, 19, n), rng.integers(0, len(SITES), n)
    limb = rng.choice(3, n, p=[0.35, 0.55, 0.1])
    glue, tunnelled, interpreter = (rng.random(n) < p for p in (0.4, 0.3, 0.15))
    log_hazard = (
        EFFECTS["age_years"] * (age - 9)
        + EFFECTS["lower"] * (limb == 1)
        + EFFECTS["trunk"] * (limb == 2)
        + EFFECTS["skin_glue"] * glue
        + EFFECTS["tunnelled"] * tunnelled
        + 0.03 * (site - 6)
    )
    dislodged = rng.exponential(1 / (0.0015 * np.exp(log_hazard)))
    other = rng.exponential(1 / 0.0025, n)
    planned = 72 + np.round(rng.normal(0, 3, n) * 4) / 4
    out = np.minimum(np.minimum(dislodged, other), planned)
    hours = np.clip(np.ceil(out * 4) / 4, 0.25, 120)
    why = np.where(out == planned, 0, np.where(out == dislodged, 1, rng.integers(2, 6, n)))
    known = rng.random(n) >= 0.1
    hours = np.where(known, hours, np.ceil(hours * rng.random(n) * 4) / 4)
    child = np.where(rng.random(n) < 0.1, rng.integers(0, max(n // 20, 1), n), -1)
    return pl.DataFrame(
        {
            "hours": hours,
            "why": np.where(known, why, -1),
            "site": site,
            "limb": limb,
            "age_years": age,
            "skin_glue": glue,
            "tunnelled": tunnelled,
            "interpreter_needed": interpreter,
            "child": child,
        }
    )


def fill(path: Path, n: int) -> None:
    """Write `n` episodes into a store of the ordinary schema."""
    with open_store(path, read_only=False) as store:
        sites = pl.DataFrame({"site": SITES, "label": SITES}).with_columns(load_id=pl.lit(1))
        _insert(store, "site", sites)
        for start in range(0, n, CHUNK):
            _insert(store, "episode", _as_records(draw(min(CHUNK, n - start), start), start))
        bring_up_to_date(store.connection)  # as a load does: what is kept ready follows


def design_columns(drawn: pl.DataFrame) -> pl.DataFrame:
    """Return the 17 columns of the model, with hours, reason and child, for peers."""
    columns = {
        "age_years": drawn["age_years"].cast(pl.Float64),
        "limb_trunk": (drawn["limb"] == 2).cast(pl.Float64),
        "limb_upper": (drawn["limb"] == 0).cast(pl.Float64),
    }
    for name in ("skin_glue", "tunnelled", "interpreter_needed"):
        columns[name] = drawn[name].cast(pl.Float64)
    usual = most_frequent_site(drawn)
    for i, site in enumerate(SITES):
        if site != usual:
            columns[site] = (drawn["site"] == i).cast(pl.Float64)
    row = pl.Series(np.arange(drawn.height))
    child = pl.select(pl.when(drawn["child"] < 0).then(-1 - row).otherwise(drawn["child"]))
    return pl.DataFrame(columns).with_columns(
        hours=drawn["hours"], why=drawn["why"], child=child.to_series()
    )


def most_frequent_site(drawn: pl.DataFrame) -> str:
    """Return the reference level, as the model chooses it."""
    counted = drawn.group_by("site").len().sort(["len", "site"], descending=[True, False])
    return SITES[counted["site"][0]]


def _as_records(drawn: pl.DataFrame, start: int) -> pl.DataFrame:
    number = np.arange(start, start + drawn.height)
    removed = drawn["why"] >= 0
    names = pl.Series([*REASONS, None])
    return drawn.select(
        episode_id=pl.Series(number).cast(pl.String),
        patient_key=pl.when(pl.col("child") >= 0).then(
            pl.lit(f"p{start}_") + pl.col("child").cast(pl.String)
        ),
        site=pl.Series(SITES).gather(drawn["site"]),
        placed_month=pl.lit("2025-01"),
        month_order=pl.Series(number + 1).cast(pl.Int32),
        age_years=pl.col("age_years").cast(pl.Int32),
        interpreter_needed=pl.col("interpreter_needed"),
        surgeon_type=pl.lit("sports"),
        nerve_target=pl.Series(NERVES).gather(drawn["limb"]),
        tunnelled=pl.col("tunnelled"),
        skin_glue=pl.col("skin_glue"),
        planned_dwell_h=pl.lit(72.0),
        removed_h=pl.when(removed).then(pl.col("hours")),
        last_known_in_place_h=pl.when(~removed).then(pl.col("hours")),
        removal_reason=names.gather(drawn["why"].replace(-1, len(REASONS))),
        load_id=pl.lit(1),
    )


def _insert(store: object, table: str, frame: pl.DataFrame) -> None:
    connection = store.connection  # type: ignore[attr-defined]
    connection.register("chunk", frame)
    connection.execute(f"insert into {table} by name select * from chunk")
    connection.unregister("chunk")
