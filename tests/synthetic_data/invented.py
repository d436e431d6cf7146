"""What the tests of invented records share."""

import polars as pl

from synthetic_data.generate import Batch, batches
from synthetic_data.scenario import Scenario


def records(scenario: Scenario, *, episodes: int, seed: int = 1, chunk: int = 20_000) -> Batch:
    """Return all records of a network, with what tests ask of each episode beside it."""
    parts = list(batches(scenario, episodes=episodes, seed=seed, chunk=chunk))
    return {name: pl.concat([part[name] for part in parts]) for name in parts[0]}


def with_dwell(episode: pl.DataFrame) -> pl.DataFrame:
    """Add hours in place, the midpoint where only an interval is known."""
    middle = (pl.col("removed_after_h") + pl.col("removed_before_h")) / 2
    return episode.with_columns(
        dwell_h=pl.coalesce("removed_h", middle, "last_known_in_place_h"),
        is_dislodged=pl.col("removal_reason") == "dislodged",
    ).drop_nulls("dwell_h")
