"""Unplanned visits in the week after placement: the columns of the visit record."""

import numpy as np

from pipeline.records.codes import VisitKind, VisitRelation
from synthetic_data.course import COMPLETED, Course
from synthetic_data.draws import between, chance, choose, to_quarter_hour
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
    spec, size = scenario.tables["followed"], placed.size
    rates = weights(VisitRelation, spec["unplanned_visits_per_100"]) / 100
    early = course.reason != COMPLETED
    parts = []
    for place, relation in enumerate(VisitRelation):
        by_catheter = relation in BY_CATHETER_OR_PAIN
        ratio = np.where(early & by_catheter, spec["after_early_removal"], 1.0)
        who = np.flatnonzero(chance(rng, rates[place] * ratio, size))
        at_h = placed.discharged_h[who] + (FOLLOW_UP_H - placed.discharged_h[who]) * rng.random(
            who.size
        )
        soon = course.removed_h[who] + between(rng, WAIT_AFTER_REMOVAL_H, who.size)
        at_h = np.where(by_catheter & early[who], np.maximum(soon, placed.discharged_h[who]), at_h)
        parts.append((who, to_quarter_hour(at_h), np.full(who.size, place)))
    who, at_h, relation_code = (np.concatenate(column) for column in zip(*parts, strict=True))
    kept = at_h <= np.nan_to_num(recording.followed_until_h[who], nan=0.0)
    order = np.argsort(who[kept], kind="stable")
    return {
        "episode_id": placed.serial[who[kept][order]],
        "at_h": at_h[kept][order],
        "kind": choose(rng, weights(VisitKind, spec["kind"]), order.size),
        "relation": relation_code[kept][order],
    }
