"""Invented episodes, contacts and visits, a batch at a time."""

from collections.abc import Iterator

import numpy as np
import polars as pl

from pipeline.records.layout import RECORDS
from synthetic_data.calls import make_calls
from synthetic_data.contacts import contact_columns
from synthetic_data.course import run
from synthetic_data.draws import Ints
from synthetic_data.episodes import episode_columns
from synthetic_data.gaps import lose_fields
from synthetic_data.placements import place, plan
from synthetic_data.recording import settle
from synthetic_data.scenario import Scenario
from synthetic_data.tables import Columns, frame
from synthetic_data.visits import visit_columns

CHUNK = 50_000  # episodes made at once; the memory needed grows with it

Batch = dict[str, pl.DataFrame]


def batches(scenario: Scenario, *, episodes: int, seed: int, chunk: int = CHUNK) -> Iterator[Batch]:
    """Yield frames of episodes, contacts and visits in the layout, months in order.

    The same scenario, number, seed and chunk give the same rows. Children come back for a
    repeat catheter within a batch only.

    Parameters
    ----------
    episodes : int
        Number of episodes in all.
    seed : int
        Seed of all draws and of the spelling of keys.
    chunk : int
        Episodes made at once.

    Raises
    ------
    ValueError
        If `episodes` or `chunk` is below one, or `seed` below zero.
    """
    if episodes < 1 or chunk < 1 or seed < 0:
        raise ValueError("episodes and chunk must be at least 1, and seed at least 0")
    planned = plan(scenario, episodes, np.random.default_rng([seed, 0]))
    listed = {"site": scenario.site_codes, "placed_month": scenario.months}
    made = {"contact": 0, "visit": 0}
    for number, start in enumerate(range(0, episodes, chunk), start=1):
        rng = np.random.default_rng([seed, number])
        columns = _batch(scenario, planned, start, min(start + chunk, episodes), rng)
        for name, before in made.items():
            size = columns[name]["at_h"].size
            columns[name][f"{name}_id"] = np.arange(before, before + size)
            made[name] += size
        yield {
            name: frame(RECORDS[name], one, listed=listed, key_offset=seed)
            for name, one in columns.items()
        }


def _batch(
    scenario: Scenario, planned: Ints, start: int, stop: int, rng: np.random.Generator
) -> dict[str, Columns]:
    placed = place(scenario, planned, start, stop, rng)
    course = run(scenario, placed, rng)
    recording = settle(scenario, placed, course, rng)
    calls = make_calls(scenario, placed, course, recording, rng)
    episode = episode_columns(scenario, placed, course, recording, calls, rng=rng)
    contact = contact_columns(scenario, placed, course, calls, rng)
    site_of_contact = placed.site[calls.episode]
    return {
        "episode": lose_fields(scenario, "episode", episode, placed.site, rng),
        "contact": lose_fields(scenario, "contact", contact, site_of_contact, rng),
        "visit": visit_columns(scenario, placed, course, recording, rng),
    }
