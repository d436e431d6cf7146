"""The columns of the episode record: what is known of placements and their removal."""

import numpy as np

from pipeline.records.codes import RemovalDifficulty, RemovalTimeSource, RemovedBy
from synthetic_data.calls import Calls
from synthetic_data.contacts import position
from synthetic_data.course import Course
from synthetic_data.draws import Flags, Floats, Ints, between, chance, choose
from synthetic_data.placements import Placements
from synthetic_data.recording import Known, Recording, share_by_reason
from synthetic_data.scenario import Scenario, weights
from synthetic_data.tables import Columns

SEEN_BEFORE_H = (0.5, 10.0)  # from when the catheter was last seen in place to the removal
OWN_RECORD = 0.87  # share of exact times that the family, removing it, wrote down

AT_PLACEMENT = (
    "site",
    "month_order",
    "placed_hour",
    "age_years",
    "weight_kg",
    "interpreter_needed",
    "surgeon_type",
    "nerve_target",
    "placed_by",
    "tunnelled",
    "skin_glue",
    "planned_dwell_h",
    "discharged_h",
)


def episode_columns(
    scenario: Scenario,
    placed: Placements,
    course: Course,
    recording: Recording,
    calls: Calls,
    *,
    rng: np.random.Generator,
) -> Columns:
    """Return the episode record of a batch; nulls as `tables` reads them."""
    columns: Columns = {
        "episode_id": placed.serial,
        "patient_key": placed.patient,
        "placed_month": placed.month,
        **{name: getattr(placed, name) for name in AT_PLACEMENT},
        **vars(placed.pump),
    }
    columns["discharged_h"] = np.where(
        placed.discharged_h < course.removed_h, placed.discharged_h, np.nan
    )
    return columns | _removal(scenario, placed, course, recording, calls, rng=rng)


def _removal(
    scenario: Scenario,
    placed: Placements,
    course: Course,
    recording: Recording,
    calls: Calls,
    *,
    rng: np.random.Generator,
) -> Columns:
    known, size = recording.known, placed.size
    is_known = known < Known.LOST
    spoken = calls.last_reached_h(size)
    last_in_place = np.where(known == Known.LOST, recording.heard_until_h, np.nan)
    clinician = chance(rng, share_by_reason(scenario.tables["removed_by"])[course.reason], size)
    by = np.where(clinician, position(RemovedBy.CLINICIAN), position(RemovedBy.FAMILY))
    difficulty = choose(
        rng, weights(RemovalDifficulty, scenario.tables["removal_difficulty"]), size
    )
    return {
        **_times(course, recording, spoken, rng),
        "removal_time_source": np.where(is_known, _source(known, clinician, rng), -1),
        "removal_reason": np.where(is_known, course.reason, -1),
        "removed_by": np.where(is_known, by, -1),
        "removal_difficulty": np.where(is_known, difficulty, -1),
        "last_known_in_place_h": last_in_place,
        "followed_until_h": np.where(
            known == Known.LOST, last_in_place, recording.followed_until_h
        ),
    }


def _times(
    course: Course, recording: Recording, spoken: Floats, rng: np.random.Generator
) -> Columns:
    known = recording.known
    seen = course.removed_h - between(rng, SEEN_BEFORE_H, known.size)
    seen = np.maximum(np.floor(np.maximum(seen, 0.0) * 4) / 4, spoken)
    interval = known == Known.INTERVAL
    return {
        "removed_h": np.where(known == Known.EXACT, course.removed_h, np.nan),
        "removed_after_h": np.where(interval, seen, np.nan),
        "removed_before_h": np.where(interval, recording.known_out_h, np.nan),
    }


def _source(known: Ints, clinician: Flags, rng: np.random.Generator) -> Ints:
    own = chance(rng, OWN_RECORD, known.size) & (known == Known.EXACT)
    source = np.where(
        own, position(RemovalTimeSource.FAMILY_RECORD), position(RemovalTimeSource.CALL_ESTIMATE)
    )
    return np.where(clinician, position(RemovalTimeSource.CLINICIAN), source)
