"""Serious events as a service records them, and the one seizure of the scenario."""

from dataclasses import replace
from typing import Any

import numpy as np

from pipeline.records.codes import (
    Direction,
    EventKind,
    Outcome,
    RemovalDifficulty,
    RemovalReason,
    Topic,
    VisitKind,
    VisitRelation,
)
from synthetic_data.aftercare import LASTING, is_told
from synthetic_data.contacts import EMERGENCY, position
from synthetic_data.course import COMPLETED, Course
from synthetic_data.draws import Floats, Ints, chance
from synthetic_data.placements import Placements
from synthetic_data.recording import Known, Recording
from synthetic_data.scenario import Scenario
from synthetic_data.tables import Columns

Told = tuple[Any, Any, EventKind]  # serial numbers, hours, and what it was


def plant_seizure(
    scenario: Scenario, placed: Placements, course: Course, recording: Recording
) -> tuple[Course, Recording, Ints]:
    """Let one child of the planted site and month have a fit, for which the catheter goes.

    Returns the course and its recording, and the positions of the child in the batch (none
    or one).
    """
    planted = scenario.planted["seizure"]
    where = scenario.is_site(planted["site"])[placed.site]
    where &= np.array(scenario.months)[placed.month] == planted["month"]
    where &= (course.reason == COMPLETED) & (recording.known == Known.EXACT)
    where &= placed.discharged_h < planted["at_h"]
    child = np.flatnonzero(where & (course.removed_h > planted["at_h"] + 1))[:1]
    removed, reason = course.removed_h.copy(), course.reason.copy()
    known_out, heard = recording.known_out_h.copy(), recording.heard_until_h.copy()
    removed[child] = known_out[child] = heard[child] = planted["at_h"] + 1
    reason[child] = list(RemovalReason).index(RemovalReason.TOXICITY_SYMPTOMS)
    onset = {name: np.where(at_h < removed, at_h, np.inf) for name, at_h in course.onset_h.items()}
    return (
        replace(course, removed_h=removed, reason=reason, onset_h=onset),
        replace(recording, known_out_h=known_out, heard_until_h=heard),
        child,
    )


def seizure_contacts(scenario: Scenario, placed: Placements, child: Ints) -> Columns:
    """Return the call in which the fit is told."""
    yes = np.ones(child.size, dtype=np.int64)
    return {
        "episode_id": placed.serial[child],
        "at_h": np.full(child.size, float(scenario.planted["seizure"]["at_h"])),
        "direction": yes * position(Direction.FAMILY),
        "reached": yes,
        "minutes_to_answer": yes * 1.0,
        "topic": yes * position(Topic.TOXICITY_SYMPTOM),
        "outcome": yes * position(Outcome.EMERGENCY_SERVICES),
        "seizure": yes,
        "breathing_difficulty": yes * 0,
        "unresponsive": yes,
        "clamped": yes,
        "restarted": yes * 0,
        "seen": yes,
    }


def event_columns(
    scenario: Scenario,
    placed: Placements,
    episode: Columns,
    contact: Columns,
    visit: Columns,
    *,
    rng: np.random.Generator,
) -> Columns:
    """Return the events that the service recorded, some of them reviewed."""
    table = scenario.planted["events"]
    serial, at_h, kind = _all_told(scenario, episode, contact, visit, rng)
    recorded = chance(rng, table["recorded"], serial.size)
    recorded |= kind == position(EventKind.TOXICITY_TREATED)
    serial, at_h, kind = serial[recorded], at_h[recorded], kind[recorded]
    month = placed.month[np.searchsorted(placed.serial, serial)]
    # The latest events wait for the next meeting.
    reviewed = chance(rng, table["reviewed"], serial.size) & (month < len(scenario.months) - 2)
    return {
        "episode_id": serial,
        "at_h": at_h,
        "kind": kind,
        "reviewed": reviewed.astype(np.int64),
        "reviewed_month": np.where(reviewed, month + 1, -1),
    }


def _all_told(
    scenario: Scenario, episode: Columns, contact: Columns, visit: Columns, rng: np.random.Generator
) -> tuple[Ints, Floats, Ints]:
    rare = scenario.planted["events"]
    out_h = np.nan_to_num(episode["removed_h"], nan=48.0)
    infected = episode["removal_reason"] == position(RemovalReason.INFECTION_SIGNS)
    infected &= chance(rng, rare["infection_treated"], infected.size)
    tight = chance(rng, rare["compartment_warning_per_1000"] / 1000, infected.size)
    fragment = episode["removal_difficulty"] == position(RemovalDifficulty.RETAINED_FRAGMENT)
    fell = contact["fell"] == 1
    fell &= chance(rng, rare["fall_injury"], fell.size)
    fit = contact["seizure"] == 1
    back = visit["kind"] == position(VisitKind.READMISSION)
    about = [position(r) for r in (VisitRelation.CATHETER, VisitRelation.PAIN,
                                   VisitRelation.UNCERTAIN)]  # fmt: skip
    back &= np.isin(visit["relation"], about)
    serial = episode["episode_id"]
    told: list[Told] = [
        (serial[infected], out_h[infected] + 12, EventKind.INFECTION_TREATED),
        (serial[tight], np.full(tight.sum(), 20.0), EventKind.COMPARTMENT_WARNING),
        (serial[fragment], out_h[fragment], EventKind.RETAINED_FRAGMENT),
        (visit["episode_id"][back], visit["at_h"][back], EventKind.READMISSION),
        _of_contacts(contact, fell, EventKind.FALL_INJURY),
        _of_contacts(contact, fit, EventKind.TOXICITY_TREATED),
        _of_contacts(contact, is_told(contact, EMERGENCY) & ~fit, EventKind.EMERGENCY_SYMPTOM),
        _of_contacts(contact, is_told(contact, LASTING), EventKind.LASTING_NERVE_SYMPTOM),
    ]
    kinds = [np.full(part[0].size, position(part[2])) for part in told]
    serials, hours = (np.concatenate([part[place] for part in told]) for place in (0, 1))
    order = np.argsort(serials, kind="stable")
    return serials[order], hours[order], np.concatenate(kinds)[order]


def _of_contacts(contact: Columns, chosen: np.ndarray, kind: EventKind) -> Told:
    return contact["episode_id"][chosen], contact["at_h"][chosen], kind
