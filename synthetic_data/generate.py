"""Invented episodes, contacts, visits and events, a batch at a time."""

from collections.abc import Iterator

import numpy as np
import polars as pl

from pipeline.records.layout import RECORDS
from synthetic_data.aftercare import aftercare_columns, follow_up_contacts, joined
from synthetic_data.calls import make_calls
from synthetic_data.contacts import contact_columns
from synthetic_data.course import run
from synthetic_data.draws import Ints
from synthetic_data.episodes import episode_columns
from synthetic_data.events import event_columns, plant_seizure, seizure_contacts
from synthetic_data.gaps import lose_fields
from synthetic_data.pairs import pair_up
from synthetic_data.placements import place, plan
from synthetic_data.recording import settle
from synthetic_data.scenario import Scenario
from synthetic_data.tables import Columns, frame
from synthetic_data.visits import visit_columns

CHUNK = 50_000  # episodes made at once; the memory needed grows with it

Batch = dict[str, pl.DataFrame]


def batches(scenario: Scenario, *, episodes: int, seed: int, chunk: int = CHUNK) -> Iterator[Batch]:
    """Yield frames of episodes, contacts, visits and events in the layout, months in order.

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
    listed = {
        "site": scenario.site_codes,
        "placed_month": scenario.months,
        "reviewed_month": scenario.months,
    }
    made = {"contact": 0, "visit": 0, "event": 0}
    for number, start in enumerate(range(0, episodes, chunk), start=1):
        rng = np.random.default_rng([seed, number])
        beside = np.random.default_rng([seed, number, 2])
        stop = min(start + chunk, episodes)
        columns = _batch(scenario, planned, start, stop, rng=rng, beside=beside)
        for name, before in made.items():
            size = columns[name]["at_h"].size
            columns[name][f"{name}_id"] = np.arange(before, before + size)
            made[name] += size
        yield {
            name: frame(RECORDS[name], one, listed=listed, key_offset=seed)
            for name, one in columns.items()
        }


def _batch(
    scenario: Scenario,
    planned: Ints,
    start: int,
    stop: int,
    *,
    rng: np.random.Generator,
    beside: np.random.Generator,
) -> dict[str, Columns]:
    """Make the records of some episodes.

    `beside` draws what the second edition of the records added, so that the rest stayed.
    """
    placed, operation = pair_up(scenario, place(scenario, planned, start, stop, rng), beside)
    course = run(scenario, placed, rng)
    recording = settle(scenario, placed, course, rng)
    course, recording, fit = plant_seizure(scenario, placed, course, recording)
    calls = make_calls(scenario, placed, course, recording, rng)
    episode = episode_columns(scenario, placed, course, recording, calls, rng=rng)
    episode |= aftercare_columns(scenario, placed, course, recording, beside)
    episode["operation_key"] = operation
    contact = contact_columns(scenario, placed, course, calls, rng, beside=beside)
    visit = visit_columns(scenario, placed, course, recording, rng)
    later, followed = follow_up_contacts(scenario, placed, recording, beside)
    contact = joined(joined(contact, seizure_contacts(scenario, placed, fit)), later)
    of = np.concatenate([calls.episode, fit, followed])
    event = event_columns(scenario, placed, episode, contact, visit, rng=beside)
    return {
        "episode": lose_fields(scenario, "episode", episode, placed.site, rng),
        "contact": lose_fields(scenario, "contact", contact, placed.site[of], rng),
        "visit": visit,
        "event": event,
    }
