"""Late records: what is held back from a first delivery and comes with a second."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from synthetic_data.generate import Batch
from synthetic_data.scenario import Scenario

KEY = "episode_id"
REMOVED_H = pl.coalesce("removed_after_h", "removed_h")
REMOVAL_COLUMNS = (
    "removed_h",
    "removed_after_h",
    "removed_before_h",
    "removal_time_source",
    "removal_reason",
    "removed_by",
    "removal_difficulty",
    "rebound_pain_score",
    "satisfaction_score",
)
HEARD_FOR = 0.6  # share of the course after which the first delivery knows nothing more


def split_late(scenario: Scenario, batch: Batch, *, seed: Sequence[int]) -> tuple[Batch, Batch]:
    """Split a batch into a first delivery and a late one.

    Some episodes arrive late as a whole. Others stand in the first delivery with a last time
    in place only, and are corrected in the second, where their later contacts are too.
    """
    planted, episode = scenario.planted["late"], batch["episode"]
    draw = pl.Series(np.random.default_rng([*seed, 1]).random(episode.height))
    is_late = draw < planted["arrives"]
    is_removed = episode.select(REMOVED_H.is_not_null()).to_series()
    is_open = (draw >= 1 - planted["corrected"]) & is_removed
    opened = _not_yet_removed(episode.filter(is_open))
    first = {"episode": episode.filter(~is_late).update(opened, on=KEY, include_nulls=True)}
    second = {"episode": episode.filter(is_late | is_open)}
    heard = pl.concat(
        [
            episode.filter(is_late).select(KEY, heard_until_h=pl.lit(-1.0)),
            opened.select(KEY, heard_until_h="last_known_in_place_h"),
        ]
    )
    for name in ("contact", "visit", "event"):
        rows = batch[name].join(heard, on=KEY, how="left", maintain_order="left")
        held = (rows["at_h"] > rows["heard_until_h"]).fill_null(False)
        first[name], second[name] = batch[name].filter(~held), batch[name].filter(held)
    return first, second


def _not_yet_removed(episode: pl.DataFrame) -> pl.DataFrame:
    """Return episodes as they stand while their removal is not known yet."""
    last_known = (REMOVED_H * HEARD_FOR * 4).floor() / 4
    opened = episode.with_columns(last_known_in_place_h=last_known, followed_until_h=last_known)
    nothing = (pl.lit(None, episode.schema[name]).alias(name) for name in REMOVAL_COLUMNS)
    return opened.with_columns(nothing)
