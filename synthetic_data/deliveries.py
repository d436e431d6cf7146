"""Late records: what is held back from a first delivery and comes with a second."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from synthetic_data.generate import Batch
from synthetic_data.scenario import Scenario

REMOVAL_COLUMNS = (
    "removed_h",
    "removed_after_h",
    "removed_before_h",
    "removal_time_source",
    "removal_reason",
    "removed_by",
    "removal_difficulty",
)
HEARD_FOR = 0.6  # share of the course after which the first delivery knows nothing more


def split_late(scenario: Scenario, batch: Batch, *, seed: Sequence[int]) -> tuple[Batch, Batch]:
    """Split a batch into a first delivery and a late one.

    Some episodes arrive late as a whole. Others stand in the first delivery with a last time
    in place only, and are corrected in the second, where their later contacts are too.
    """
    planted = scenario.planted["late"]
    episode = batch["episode"]
    draw = np.random.default_rng([*seed, 1]).random(episode.height)
    is_late = pl.Series(draw < planted["arrives"])
    removed = pl.coalesce("removed_after_h", "removed_h")
    is_open = (
        pl.Series(draw >= 1 - planted["corrected"])
        & episode.select(removed.is_not_null()).to_series()
    )
    last_known = (removed * HEARD_FOR * 4).floor() / 4
    opened = episode.filter(is_open).with_columns(last_known.alias("last_known_in_place_h"))
    cut = pl.concat(
        [
            episode.filter(is_late).select("episode_id", heard_until_h=pl.lit(-1.0)),
            opened.select("episode_id", heard_until_h="last_known_in_place_h"),
        ]
    )
    opened = opened.with_columns(pl.lit(None).alias(name) for name in REMOVAL_COLUMNS).cast(
        {name: episode.schema[name] for name in REMOVAL_COLUMNS}
    )
    opened = opened.with_columns(followed_until_h="last_known_in_place_h")
    first = {"episode": _replace(episode.filter(~is_late), opened)}
    second = {"episode": episode.filter(is_late | is_open)}
    for name in ("contact", "visit"):
        later = batch[name].join(cut, on="episode_id", how="left", maintain_order="left")
        held = later["at_h"] > later["heard_until_h"].fill_null(float("inf"))
        first[name], second[name] = batch[name].filter(~held), batch[name].filter(held)
    return first, second


def _replace(episode: pl.DataFrame, opened: pl.DataFrame) -> pl.DataFrame:
    """Put the opened versions in the place of the complete ones."""
    return episode.update(opened, on="episode_id", include_nulls=True)
