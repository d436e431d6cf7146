"""What is told of the pump and after the removal, and the follow-up weeks later."""

import numpy as np

from pipeline.records.codes import ContactKind, Direction, PumpProblem, Topic
from synthetic_data.contacts import position
from synthetic_data.course import COMPLETED, Course
from synthetic_data.draws import Flags, Ints, between, chance, choose, to_quarter_hour
from synthetic_data.placements import Placements
from synthetic_data.recording import Known, Recording
from synthetic_data.scenario import Scenario, weights
from synthetic_data.tables import Columns

FOLLOW_UP_H = (330.0, 420.0)  # about two weeks after placement
LASTING = ("lasting_numbness", "lasting_weakness", "lasting_pain")


def aftercare_columns(
    scenario: Scenario,
    placed: Placements,
    course: Course,
    recording: Recording,
    rng: np.random.Generator,
) -> Columns:
    """Return the columns of the episode record that tell of pump, limb and satisfaction."""
    table, size = scenario.tables["aftercare"], placed.size
    is_known = recording.known < Known.LOST
    mean, spread = table["satisfaction"]
    score = rng.normal(mean, spread, size)
    score = score - np.where(course.reason == COMPLETED, 0.0, table["less_after_early_removal"])
    mean, spread = table["rebound_pain"]
    rebound = rng.normal(mean, spread, size)
    given = chance(rng, table["bolus_share"], size)
    median, spread = table["bolus_mg_kg"]
    bolus = np.round(rng.lognormal(median, spread, size) * placed.weight_kg)
    return {
        "bolus_mg": np.where(given, bolus, 0.0),
        "pump_problem": _pump_problem(scenario, placed, course, rng),
        "limb_aid_given": chance(rng, table["limb_aid"], size).astype(np.int64),
        "rebound_pain_score": np.where(is_known, _of_ten(rebound), -1),
        "satisfaction_score": np.where(is_known, _of_ten(score), -1),
    }


def _of_ten(score: np.ndarray) -> Ints:
    return np.clip(np.rint(score), 0, 10).astype(np.int64)


def _pump_problem(
    scenario: Scenario, placed: Placements, course: Course, rng: np.random.Generator
) -> Ints:
    """Draw the pump's trouble; one that is filled too small empties early."""
    planted = scenario.planted["pumps_that_run_on"]
    problem = choose(rng, weights(PumpProblem, scenario.tables["aftercare"]["pump"]), placed.size)
    with np.errstate(divide="ignore"):
        too_small = placed.pump.reservoir_ml / placed.pump.rate_ml_h < course.removed_h - 6
    problem[too_small] = position(PumpProblem.EMPTIED_EARLY)
    at_site = scenario.is_site(planted["site"])[placed.site]
    share = np.where(at_site, planted["at_site"], planted["elsewhere"])
    runs_on = chance(rng, share, placed.size) & ~too_small
    problem[runs_on] = position(PumpProblem.RAN_ON)
    return problem


def follow_up_contacts(
    scenario: Scenario, placed: Placements, recording: Recording, rng: np.random.Generator
) -> tuple[Columns, Ints]:
    """Return the columns of follow-up contacts, and the episode of each in the batch."""
    planted = scenario.planted["lasting_symptoms"]
    size = placed.size
    last_month = len(scenario.months) - 1
    due = (recording.known < Known.LOST) & (placed.month < last_month)
    called = np.flatnonzero(due & chance(rng, planted["followed_up"], size))
    reached = chance(rng, planted["reached"], called.size)
    lasting = chance(rng, planted["per_1000"] / 1000, called.size)
    which = rng.integers(len(LASTING), size=called.size)
    columns: Columns = {
        "episode_id": placed.serial[called],
        "at_h": to_quarter_hour(between(rng, FOLLOW_UP_H, called.size)),
        "direction": np.full(called.size, position(Direction.SERVICE)),
        "reached": reached.astype(np.int64),
        "topic": np.full(called.size, position(Topic.ROUTINE)),
        "contact_kind": np.full(called.size, position(ContactKind.FOLLOW_UP)),
    }
    for place, name in enumerate(LASTING):
        told = lasting & (which == place)
        columns[name] = np.where(reached, told.astype(np.int64), -1)
    return columns, called


def joined(first: Columns, second: Columns) -> Columns:
    """Put rows below others; a column that one of them lacks is null there."""
    sizes = first["episode_id"].size, second["episode_id"].size
    return {
        name: np.concatenate([_or_null(first, name, sizes[0]), _or_null(second, name, sizes[1])])
        for name in {**first, **second}
    }


def _or_null(columns: Columns, name: str, size: int) -> np.ndarray:
    if name in columns:
        return columns[name]
    return np.full(size, np.nan if name == "minutes_to_answer" else -1)


def is_told(columns: Columns, names: tuple[str, ...]) -> Flags:
    """Whether a row says yes to any of the columns."""
    return np.logical_or.reduce([columns[name] == 1 for name in names])
