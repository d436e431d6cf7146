"""What truly happens to each catheter, whether or not anybody records it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.records.codes import LIMB_OF_NERVE, Limb, NerveTarget, RemovalReason
from synthetic_data.draws import Floats, Ints, between, chance, to_quarter_hour
from synthetic_data.intensity import hazard
from synthetic_data.placements import Placements, placed_weights
from synthetic_data.scenario import Scenario, weights

REASONS = [reason.value for reason in RemovalReason]
COMPLETED = REASONS.index(RemovalReason.COMPLETED.value)
SOONEST_H = 0.25


@dataclass(frozen=True)
class Course:
    """The true course of a batch, arrays of shape (n,).

    `onset_h` gives when each thing of the scenario's ``onset`` table began, infinite where
    it did not while the catheter was in place.
    """

    removed_h: Floats
    reason: Ints
    onset_h: Mapping[str, Floats]


def run(scenario: Scenario, placed: Placements, rng: np.random.Generator) -> Course:
    """Let every hazard run against the planned end; the first to come ends the course."""
    removed = _end_of_course(scenario, placed, rng)
    reason = np.full(placed.size, COMPLETED)
    onset_h = {}
    for name, spec in scenario.tables["removal"].items():
        at_h = _event_times(scenario, name, spec, placed, rng)
        removed, reason = _earlier(removed, reason, at_h, name)
    for name, spec in scenario.tables["onset"].items():
        onset_h[name] = to_quarter_hour(_event_times(scenario, name, spec, placed, rng))
        if spec["removal_share"] > 0:
            taken_out = chance(rng, spec["removal_share"], placed.size)
            delay = between(rng, (0.5, spec["removal_within_h"]), placed.size)
            at_h = np.where(taken_out, onset_h[name] + delay, np.inf)
            removed, reason = _earlier(removed, reason, at_h, spec["removal_reason"])
    removed = np.maximum(to_quarter_hour(removed), SOONEST_H)
    happened = {k: np.where(v < removed, v, np.inf) for k, v in onset_h.items()}
    return Course(removed, reason, happened)


def _earlier(removed: Floats, reason: Ints, at_h: Floats, name: str) -> tuple[Floats, Ints]:
    first = at_h < removed
    return np.where(first, at_h, removed), np.where(first, REASONS.index(name), reason)


def _event_times(
    scenario: Scenario,
    name: str,
    spec: Mapping[str, Any],
    placed: Placements,
    rng: np.random.Generator,
) -> Floats:
    """Draw latent times from a proportional hazard: its inverse at an exponential draw."""
    reference = hazard(spec, placed_weights(scenario))
    ratio = _hazard_ratio(spec, placed) * _planted_ratio(scenario, name, placed)
    with np.errstate(divide="ignore"):
        accumulated = rng.standard_exponential(placed.size) / ratio
    return reference.inverse(placed.placed_hour, accumulated)


def _hazard_ratio(spec: Mapping[str, Any], placed: Placements) -> Floats:
    """Return the hazard ratios that the scenario declares for a nerve, limb, age or tunnel."""
    nerve = weights(NerveTarget, spec.get("nerve_target", {}), otherwise=1.0)
    limb = weights(Limb, spec.get("limb", {}), otherwise=1.0)
    limbs = list(Limb)
    by_nerve = [limb[limbs.index(found)] if found else 1.0 for found in LIMB_OF_NERVE.values()]
    from_year, by_age = np.array(spec.get("age", [[0, 1.0]])).T
    age_band = np.searchsorted(from_year, placed.age_years, side="right") - 1
    tunnelled = np.where(placed.tunnelled, spec.get("tunnelled", 1.0), 1.0)
    return (nerve * by_nerve)[placed.nerve_target] * by_age[age_band] * tunnelled


def _planted_ratio(scenario: Scenario, name: str, placed: Placements) -> Floats:
    """Return the planted hazard ratio of each episode for one event."""
    planted = scenario.planted
    ratio = np.ones(placed.size)
    if name == "dislodged":
        ratio[placed.is_after_securement] = planted["securement"]["dislodgement_hazard_ratio"]
    if name == "large_leakage":
        at_site = scenario.is_site(planted["leakage"]["site"])[placed.site]
        ratio[at_site] = planted["leakage"]["hazard_ratio"]
    if name == "toxicity_symptom":
        cluster = planted["toxicity_cluster"]
        at_site = scenario.is_site(cluster["site"])[placed.site]
        in_months = np.isin(np.array(scenario.months)[placed.month], cluster["months"])
        ratio[at_site & in_months] = cluster["hazard_ratio"]
    return ratio


def _end_of_course(scenario: Scenario, placed: Placements, rng: np.random.Generator) -> Floats:
    """Draw when a course that nothing disturbs is ended: in the daytime, soon after the plan."""
    spec = scenario.tables["completed"]
    clock = (placed.placed_hour + placed.planned_dwell_h) % 24
    wait = rng.exponential(spec["wait_h"], placed.size)
    starts, ends = spec["morning"][0], spec["evening_ends"]
    morning = between(rng, spec["morning"], placed.size) - clock
    morning = np.where(morning < 0, morning + 24, morning)
    by_night = (clock + wait > ends) | (clock < starts)
    by_day = (clock > starts + spec["early_within_h"]) & (clock < ends)
    early = chance(rng, spec["early_share"], placed.size) & by_day
    sooner = -between(rng, (0.5, spec["early_within_h"]), placed.size)
    return placed.planned_dwell_h + np.where(early, sooner, np.where(by_night, morning, wait))
