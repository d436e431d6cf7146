"""Unplanned visits in the week after placement: the columns of the visit record."""

import numpy as np

from pipeline.records.codes import VisitKind, VisitRelation
from synthetic_data.course import COMPLETED, Course
from synthetic_data.draws import Floats, Ints, between, chance, choose, to_quarter_hour
from synthetic_data.placements import Placements
from synthetic_data.recording import FOLLOW_UP_H, Recording
from synthetic_data.scenario import Scenario, weights
from synthetic_data.tables import Columns

WAIT_AFTER_REMOVAL_H = (0.5, 20.0)
BY_CATHETER_OR_PAIN = (VisitRelation.CATHETER, VisitRelation.PAIN)


def visit_columns(
    scenario: Scenario,
    placed: Placements,
    course: Course,
    recording: Recording,
    rng: np.random.Generator,
) -> Columns:
    """Return the visits of a batch that fall within follow-up, in the order of episodes."""
    spec = scenario.tables["followed"]
    rates = weights(VisitRelation, spec["unplanned_visits_per_100"]) / 100
    after_early = np.where(course.reason != COMPLETED, spec["after_early_removal"], 1.0)
    parts = []
    for place, relation in enumerate(VisitRelation):
        by_catheter = relation in BY_CATHETER_OR_PAIN
        rate = rates[place] * (after_early if by_catheter else 1.0)
        who = np.flatnonzero(chance(rng, rate, placed.size))
        at_h = _times(placed, course, who, by_catheter=by_catheter, rng=rng)
        parts.append((who, at_h, np.full(who.size, place)))
    who, at_h, code = (np.concatenate(column) for column in zip(*parts, strict=True))
    kept = at_h <= np.nan_to_num(recording.followed_until_h[who], nan=0.0)
    order = np.argsort(who[kept], kind="stable")
    return {
        "episode_id": placed.serial[who[kept][order]],
        "at_h": at_h[kept][order],
        "kind": choose(rng, weights(VisitKind, spec["kind"]), order.size),
        "relation": code[kept][order],
    }


def _times(
    placed: Placements, course: Course, who: Ints, *, by_catheter: bool, rng: np.random.Generator
) -> Floats:
    """Draw times at home in the week; soon after a removal that was not planned."""
    home = placed.discharged_h[who]
    at_any_time = home + (FOLLOW_UP_H - home) * rng.random(who.size)
    soon = course.removed_h[who] + between(rng, WAIT_AFTER_REMOVAL_H, who.size)
    is_soon = by_catheter & (course.reason[who] != COMPLETED)
    return to_quarter_hour(np.where(is_soon, np.maximum(soon, home), at_any_time))
