"""Which contacts take place: planned daily calls, and what families call about."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from pipeline.records.codes import RemovalReason
from synthetic_data.course import COMPLETED, Course
from synthetic_data.draws import Flags, Floats, Ints, between, chance, to_quarter_hour
from synthetic_data.intensity import HORIZON_H, HourlyHazard, clock_hours, steps
from synthetic_data.placements import Placements
from synthetic_data.recording import Known, Recording
from synthetic_data.scenario import Scenario

LAST_CALL_DAY = 6
NIGHT = (22, 6)  # clock hours
CALLS_ABOUT_WITHIN_H = (0.1, 2.0)  # from the beginning of something until the family calls


class Cause(IntEnum):
    """Why a contact takes place."""

    DAILY_CALL = 0
    QUESTION = 1
    LARGE_LEAKAGE = 2
    TOXICITY_SYMPTOM = 3
    INFECTION_SIGN = 4
    FALL = 5
    REMOVAL = 6


@dataclass(frozen=True)
class Calls:
    """Contacts of a batch, sorted by episode and time; arrays of shape (m,).

    `episode` is the position in the batch, `cause` a value of `Cause`.
    """

    episode: Ints
    at_h: Floats
    cause: Ints
    reached: Flags

    @property
    def size(self) -> int:
        """Number of contacts."""
        return self.episode.size

    def last_reached_h(self, episodes: int) -> Floats:
        """Return when each family was last spoken to before the removal; 0 where never."""
        before = self.reached & (self.cause != Cause.REMOVAL)
        last = np.zeros(episodes)
        np.maximum.at(last, self.episode[before], self.at_h[before])
        return last


Part = tuple[Ints, Floats, Cause]


def make_calls(
    scenario: Scenario,
    placed: Placements,
    course: Course,
    recording: Recording,
    rng: np.random.Generator,
) -> Calls:
    """Draw all contacts from going home until the removal."""
    parts = [
        *_daily_calls(scenario, placed, course, rng),
        _questions(scenario, placed, course, rng),
        *_about_onsets(scenario, placed, course, rng),
        _about_removal(scenario, placed, course, recording, rng),
    ]
    episode = np.concatenate([part[0] for part in parts])
    at_h = np.concatenate([part[1] for part in parts])
    cause = np.repeat([part[2] for part in parts], [part[0].size for part in parts])
    heard = at_h <= recording.heard_until_h[episode]
    kept = heard | (cause == Cause.DAILY_CALL)
    episode, at_h, cause, heard = episode[kept], at_h[kept], cause[kept], heard[kept]
    reached = _reached(scenario, placed, episode, cause, rng) & heard
    order = np.argsort(episode * (HORIZON_H * 16) + (at_h * 4).astype(np.int64), kind="stable")
    return Calls(episode[order], at_h[order], cause[order], reached[order])


def is_night(placed_hour: Ints, at_h: Floats) -> Flags:
    """Whether the clock stands between 22:00 and 06:00."""
    clock = (placed_hour + at_h) % 24
    return (clock >= NIGHT[0]) | (clock < NIGHT[1])


def is_first_night(placed_hour: Ints, at_h: Floats) -> Flags:
    """Whether it is the night that follows the placement."""
    return is_night(placed_hour, at_h) & (placed_hour + at_h < 24 + NIGHT[1])


def _daily_calls(
    scenario: Scenario, placed: Placements, course: Course, rng: np.random.Generator
) -> list[Part]:
    table, size = scenario.tables["contact"], placed.size
    evening = table["first_evening_call"] + between(rng, (-1.0, 1.0), size)
    times = [evening - placed.placed_hour]
    for day in range(1, LAST_CALL_DAY + 1):
        clock = between(rng, table["service_call_hours"], size)
        times.append(24 * day - placed.placed_hour + clock)
    parts = []
    for at_h in map(to_quarter_hour, times):
        called = np.flatnonzero((at_h > placed.discharged_h) & (at_h < course.removed_h))
        parts.append((called, at_h[called], Cause.DAILY_CALL))
    return parts


def _questions(
    scenario: Scenario, placed: Placements, course: Course, rng: np.random.Generator
) -> Part:
    """Draw families' calls as a Poisson process with a higher rate in the first night."""
    process = family_call_rate(scenario)
    begin = process.cumulative(placed.placed_hour, placed.discharged_h)
    end = process.cumulative(placed.placed_hour, course.removed_h)
    expected = np.maximum(end - begin, 0.0)
    episode = np.repeat(np.arange(placed.size), rng.poisson(expected))
    target = begin[episode] + rng.random(episode.size) * expected[episode]
    at_h = np.floor(process.inverse(placed.placed_hour[episode], target) * 4) / 4
    inside = (at_h > placed.discharged_h[episode]) & (at_h < course.removed_h[episode])
    return episode[inside], at_h[inside], Cause.QUESTION


def family_call_rate(scenario: Scenario) -> HourlyHazard:
    """Return the rate at which families call with a question."""
    table = scenario.tables["contact"]
    relative = steps(table["family_by_clock"], 24)
    rate = (table["family_calls_per_day"] / 24 * relative / relative.mean())[clock_hours()]
    placed_hour, since = np.meshgrid(np.arange(24), np.arange(HORIZON_H), indexing="ij")
    ratio = scenario.planted["first_night"]["rate_ratio"]
    first = is_first_night(placed_hour, since.astype(float))
    return HourlyHazard(np.where(first, ratio, 1.0) * rate)


def _about_onsets(
    scenario: Scenario, placed: Placements, course: Course, rng: np.random.Generator
) -> list[Part]:
    parts = []
    for name, spec in scenario.tables["onset"].items():
        delay = between(rng, CALLS_ABOUT_WITHIN_H, placed.size)
        at_h = to_quarter_hour(np.minimum(course.onset_h[name] + delay, course.removed_h))
        calls = chance(rng, spec["call_share"], placed.size) & np.isfinite(course.onset_h[name])
        called = np.flatnonzero(calls & (course.onset_h[name] > placed.discharged_h))
        parts.append((called, at_h[called], Cause[name.upper()]))
    return parts


def _about_removal(
    scenario: Scenario,
    placed: Placements,
    course: Course,
    recording: Recording,
    rng: np.random.Generator,
) -> Part:
    """Families tell of most removals that were not planned, when they find them."""
    tables = scenario.tables["removal"]
    shares = np.array([tables.get(r.value, {}).get("call_share", 0.0) for r in RemovalReason])
    calls = chance(rng, shares[course.reason], placed.size) & (course.reason != COMPLETED)
    at_home = course.removed_h > placed.discharged_h
    told = np.flatnonzero(calls & at_home & (recording.known < Known.LOST))
    return told, recording.known_out_h[told], Cause.REMOVAL


def _reached(
    scenario: Scenario, placed: Placements, episode: Ints, cause: Ints, rng: np.random.Generator
) -> Flags:
    planted = scenario.planted["reach"]
    by_site = np.where(scenario.is_site(planted["site"]), planted["at_site"], planted["elsewhere"])
    odds = by_site / (1 - by_site)
    needs = placed.interpreter_needed[episode]
    odds = odds[placed.site[episode]] * np.where(needs, planted["interpreter_odds_ratio"], 1.0)
    family = scenario.tables["contact"]["family_reached"]
    return chance(rng, np.where(cause == Cause.DAILY_CALL, odds / (1 + odds), family), cause.size)
