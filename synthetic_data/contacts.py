"""What is said in each contact: the columns of the contact record."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.records.codes import (
    LIMB_OF_NERVE,
    Code,
    ContactKind,
    Direction,
    Dressing,
    Leakage,
    Limb,
    NerveTarget,
    Outcome,
    RemovalReason,
    Topic,
)
from pipeline.records.layout import SYMPTOMS
from synthetic_data.calls import Calls, Cause, is_first_night, is_night
from synthetic_data.course import Course
from synthetic_data.draws import Flags, Floats, Ints, chance, choose
from synthetic_data.placements import Placements
from synthetic_data.scenario import Scenario, weights
from synthetic_data.tables import Columns

EMERGENCY = ("breathing_difficulty", "unresponsive", "seizure")
URGENT = tuple(name for name in SYMPTOMS if name not in EMERGENCY)
ABOVE_COLLARBONE = (NerveTarget.INTERSCALENE, NerveTarget.SUPRACLAVICULAR)
TASTE_BESIDE_ANOTHER = 0.2
REINFORCED_AT_CALL = 0.6  # share of reinforced dressings that were reinforced during the contact
ASKED_TO_ATTEND = 0.03
SENT_TO_SURGEON = 0.01
TOLD_AFTER_LEAKAGE_H = 24.0

TOPIC_OF_REASON = {
    RemovalReason.DRESSING_FAILURE: Topic.DRESSING,
    RemovalReason.INADEQUATE_ANALGESIA: Topic.PAIN,
    RemovalReason.NUMBNESS_WEAKNESS: Topic.NUMBNESS_WEAKNESS,
    RemovalReason.PUMP_FAULT: Topic.PUMP,
}
TOPIC_OF_CAUSE = {
    Cause.LARGE_LEAKAGE: Topic.LEAKAGE,
    Cause.TOXICITY_SYMPTOM: Topic.TOXICITY_SYMPTOM,
    Cause.INFECTION_SIGN: Topic.INFECTION_SIGN,
    Cause.FALL: Topic.FALL,
}


def contact_columns(
    scenario: Scenario,
    placed: Placements,
    course: Course,
    calls: Calls,
    rng: np.random.Generator,
    *,
    beside: np.random.Generator,
) -> Columns:
    """Return the contact record of a batch of calls; nulls as `tables` reads them.

    A contact that reached nobody ascertains nothing: all that would have been said is null.
    `beside` draws what the second edition of the records added.
    """
    talk = _Talk(scenario, placed, course, calls, rng)
    family = calls.cause != Cause.DAILY_CALL
    columns: Columns = {
        "episode_id": placed.serial[calls.episode],
        "at_h": calls.at_h,
        "direction": np.where(family, position(Direction.FAMILY), position(Direction.SERVICE)),
        "reached": calls.reached.astype(np.int64),
        "minutes_to_answer": np.where(family & calls.reached, talk.minutes_to_answer(), np.nan),
        "topic": np.where(calls.reached, talk.topic(), position(Topic.ROUTINE)),
        "contact_kind": np.full(calls.size, position(ContactKind.COURSE)),
    }
    said: Columns = {"pain_score": talk.pain_score(), "opioid_doses": talk.opioid_doses()}
    said |= {"leakage": talk.leakage(), "dressing": talk.dressing(), **talk.symptoms()}
    said |= talk.other_signs()
    said["outcome"] = talk.outcome(said)
    said |= _expected_effects(scenario, placed, calls, said, beside)
    said |= _what_was_done(calls, said, beside)
    return columns | {name: np.where(calls.reached, value, -1) for name, value in said.items()}


def _expected_effects(
    scenario: Scenario, placed: Placements, calls: Calls, said: Columns, rng: np.random.Generator
) -> Columns:
    """Draw hoarse voice, drooping lid and short breath with blocks above the collarbone."""
    shares = scenario.planted["expected_effects"]
    nerves = [list(NerveTarget).index(nerve) for nerve in ABOVE_COLLARBONE]
    above = np.isin(placed.nerve_target, nerves)[calls.episode]
    told = {name: above & chance(rng, shares[name], calls.size) for name in shares}
    breath = (said["breathing_difficulty"] == 1) | told.pop("breathing_difficulty")
    return {name: flags.astype(np.int64) for name, flags in told.items()} | {
        "breathing_difficulty": breath.astype(np.int64)
    }


def _what_was_done(calls: Calls, said: Columns, rng: np.random.Generator) -> Columns:
    """Draw what followed a symptom of toxicity; it is not asked at other contacts."""
    asked = calls.cause == Cause.TOXICITY_SYMPTOM
    clamped = (said["outcome"] == position(Outcome.CLAMP_CLOSED)) | chance(rng, 0.6, calls.size)
    restarted = clamped & chance(rng, 0.4, calls.size)
    seen = chance(rng, 0.3, calls.size)
    done = {"clamped": clamped, "restarted": restarted, "seen": seen}
    return {name: np.where(asked, flags.astype(np.int64), -1) for name, flags in done.items()}


def position(code: Code) -> int:
    """Return the place of a code in its vocabulary."""
    return list(type(code)).index(code)


class _Talk:
    """The content of a batch of contacts, one method a column or a group of columns."""

    def __init__(
        self,
        scenario: Scenario,
        placed: Placements,
        course: Course,
        calls: Calls,
        rng: np.random.Generator,
    ) -> None:
        self.table: Mapping[str, Any] = scenario.tables["contact"]
        self.placed, self.course, self.calls, self.rng = placed, course, calls, rng
        self.size = calls.size
        self.placed_hour = placed.placed_hour[calls.episode]
        self.reason = course.reason[calls.episode]
        self.before_removal_h = course.removed_h[calls.episode] - calls.at_h

    def _is_removal_for(self, reason: RemovalReason) -> Flags:
        return (self.calls.cause == Cause.REMOVAL) & (self.reason == position(reason))

    def minutes_to_answer(self) -> Floats:
        median, spread, at_night = self.table["answer_minutes"]
        minutes = self.rng.lognormal(np.log(median), spread, self.size)
        night = is_night(self.placed_hour, self.calls.at_h)
        return np.round(minutes * np.where(night, at_night, 1.0))

    def topic(self) -> Ints:
        daily = choose(self.rng, weights(Topic, self.table["service_topic"]), self.size)
        family = choose(self.rng, weights(Topic, self.table["family_topic"]), self.size)
        topic = np.where(self.calls.cause == Cause.DAILY_CALL, daily, family)
        for cause, code in TOPIC_OF_CAUSE.items():
            topic[self.calls.cause == cause] = position(code)
        topic[self.calls.cause == Cause.REMOVAL] = position(Topic.REMOVAL)
        for reason, code in TOPIC_OF_REASON.items():
            topic[self._is_removal_for(reason)] = position(code)
        return topic

    def pain_score(self) -> Ints:
        pain = self.table["pain"]
        child = self.rng.normal(0.0, pain["between"], self.placed.size)[self.calls.episode]
        now = self.rng.normal(pain["mean"], pain["within"], self.size)
        first = is_first_night(self.placed_hour, self.calls.at_h)
        poor = self.reason == position(RemovalReason.INADEQUATE_ANALGESIA)
        poor &= self.before_removal_h < 18
        score = child + now + pain["first_night"] * first + pain["poor_block"] * poor
        return np.clip(np.rint(score), 0, 10).astype(np.int64)

    def opioid_doses(self) -> Ints:
        takes = chance(self.rng, self.table["opioid_users"], self.placed.size)[self.calls.episode]
        return self.rng.poisson(self.table["opioid_doses"], self.size) * takes

    def leakage(self) -> Ints:
        small = chance(self.rng, self.table["small_leakage"], self.size)
        leakage = np.where(small, position(Leakage.SMALL), position(Leakage.NONE))
        since = self.calls.at_h - self.course.onset_h["large_leakage"][self.calls.episode]
        recent = (since >= 0) & (since < TOLD_AFTER_LEAKAGE_H)
        told = chance(self.rng, self.table["large_leakage_reported"], self.size)
        told &= recent & (self.calls.cause == Cause.DAILY_CALL)
        leakage[told | (self.calls.cause == Cause.LARGE_LEAKAGE)] = position(Leakage.LARGE)
        return leakage

    def dressing(self) -> Ints:
        reinforced = chance(self.rng, self.table["reinforced"], self.size)
        dressing = np.where(reinforced, position(Dressing.REINFORCED), position(Dressing.INTACT))
        exposed = self._is_removal_for(RemovalReason.DRESSING_FAILURE)
        dressing[exposed] = position(Dressing.EXPOSED)
        return dressing

    def symptoms(self) -> dict[str, Ints]:
        shares = np.array([self.table["toxicity_symptom"][name] for name in SYMPTOMS])
        toxicity = self.calls.cause == Cause.TOXICITY_SYMPTOM
        leading = np.where(toxicity, choose(self.rng, shares, self.size), -1)
        symptoms = {name: leading == place for place, name in enumerate(SYMPTOMS)}
        beside = toxicity & chance(self.rng, TASTE_BESIDE_ANOTHER, self.size)
        symptoms["metallic_taste"] = symptoms["metallic_taste"] | beside
        return {name: value.astype(np.int64) for name, value in symptoms.items()}

    def other_signs(self) -> dict[str, Ints]:
        weak = chance(self.rng, self.table["limb_weakness"], self.size)
        weak &= self._limb_is_not_trunk()
        weak |= self._is_removal_for(RemovalReason.NUMBNESS_WEAKNESS)
        signs = {
            "redness_swelling": self.calls.cause == Cause.INFECTION_SIGN,
            "limb_weakness": weak,
            "fell": self.calls.cause == Cause.FALL,
        }
        return {name: value.astype(np.int64) for name, value in signs.items()}

    def _limb_is_not_trunk(self) -> Flags:
        has_limb = np.array([limb is not Limb.TRUNK for limb in LIMB_OF_NERVE.values()])
        return has_limb[self.placed.nerve_target[self.calls.episode]]

    def outcome(self, said: Columns) -> Ints:
        outcome = np.full(self.size, position(Outcome.REASSURED))
        reinforced = said["dressing"] == position(Dressing.REINFORCED)
        reinforced &= chance(self.rng, REINFORCED_AT_CALL, self.size)
        cause = self.calls.cause
        attends = chance(self.rng, ASKED_TO_ATTEND, self.size) | (cause == Cause.INFECTION_SIGN)
        steps: list[tuple[Flags, Outcome]] = [
            (reinforced, Outcome.DRESSING_REINFORCED),
            (chance(self.rng, SENT_TO_SURGEON, self.size), Outcome.SENT_TO_SURGEON),
            (attends, Outcome.ASKED_TO_ATTEND),
            (_any(said, URGENT), Outcome.CLAMP_CLOSED),
            (_any(said, EMERGENCY), Outcome.EMERGENCY_SERVICES),
            (cause == Cause.REMOVAL, Outcome.CATHETER_REMOVED),
        ]
        for led_to, code in steps:
            outcome[led_to] = position(code)
        return outcome


def _any(said: Columns, names: tuple[str, ...]) -> Flags:
    return np.logical_or.reduce([said[name] == 1 for name in names])
