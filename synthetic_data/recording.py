"""What becomes known of each removal: its time, an interval, or nothing."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from pipeline.records.codes import RemovalReason
from synthetic_data.course import Course
from synthetic_data.draws import Floats, Ints, between, chance, to_quarter_hour
from synthetic_data.placements import Placements
from synthetic_data.scenario import Scenario

FOLLOW_UP_H = 168.0
AFTER_REMOVAL_H = 96.0  # at least so long after the removal
FOUND_AFTER_H = (0.25, 4.0)  # from a removal until it is found out, where only that is known
LAST_NEWS_H = (2.0, 120.0)  # when a family may fall silent, whatever becomes of the catheter


class Known(IntEnum):
    """How much is known of a removal."""

    EXACT = 0
    INTERVAL = 1
    LOST = 2  # only a last time in place
    UNKNOWN = 3


@dataclass(frozen=True)
class Recording:
    """How each removal of a batch becomes known; arrays of shape (n,).

    `known` holds values of `Known`. `known_out_h` is the removal time, the upper end of an
    interval, or infinite; `heard_until_h` is when the family was last within reach.
    """

    known: Ints
    known_out_h: Floats
    heard_until_h: Floats
    followed_until_h: Floats


def settle(
    scenario: Scenario, placed: Placements, course: Course, rng: np.random.Generator
) -> Recording:
    """Draw how each removal becomes known."""
    size = placed.size
    silent = to_quarter_hour(between(rng, LAST_NEWS_H, size))
    known = _how_known(scenario, course, silent, rng)
    found = to_quarter_hour(course.removed_h + between(rng, FOUND_AFTER_H, size))
    known_out = np.where(known == Known.INTERVAL, found, course.removed_h)
    gone = known >= Known.LOST
    heard = np.where(known == Known.UNKNOWN, 0.0, np.where(gone, silent, known_out))
    short = np.round(between(rng, scenario.planted["immature"]["followed_h"], size))
    week = np.maximum(FOLLOW_UP_H, np.ceil(course.removed_h) + AFTER_REMOVAL_H)
    followed = np.where(placed.is_last_of_network, short, week)
    return Recording(
        known=known,
        known_out_h=np.where(gone, np.inf, known_out),
        heard_until_h=heard,
        followed_until_h=np.where(gone, np.nan, followed),
    )


def share_by_reason(table: Mapping[str, float]) -> Floats:
    """Spread a table of reason to share, with ``otherwise``, over the reasons of removal."""
    return np.array([table.get(reason.value, table["otherwise"]) for reason in RemovalReason])


def _how_known(
    scenario: Scenario, course: Course, silent: Floats, rng: np.random.Generator
) -> Ints:
    """Draw what is known; losing sight of a family does not depend on the catheter's fate."""
    planted, size = scenario.planted["removal_time"], course.removed_h.size
    interval = chance(rng, share_by_reason(planted["interval"])[course.reason], size)
    known = np.where(interval, Known.INTERVAL, Known.EXACT)
    falls_silent = chance(rng, planted["falls_silent"], size)
    known[falls_silent & (silent < course.removed_h)] = Known.LOST
    known[chance(rng, planted["unknown"], size)] = Known.UNKNOWN
    return known
