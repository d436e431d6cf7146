"""Curves that are shared tell of no few children: what a reader could work out from them."""

import numpy as np
import pytest

from pipeline.analysis.survival.event_counts import CENSORED, EventCounts
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.time_in_place import time_in_place
from pipeline.disclosure import Policy, Readable, readable
from tests.episodes import from_episodes

REASONS = ("completed", "dislodged", "leakage", "pump_fault")
HOURS = (72.0, 48.0, 24.0)
POLICY = Policy()


def invented(seed: int, n: int) -> EventCounts:
    """Invented episodes: most stay to 72 h, some come out early, one in ten is lost."""
    rng = np.random.default_rng(seed)
    out = rng.exponential(220, n)
    planned = 72 + rng.integers(-8, 24, n) / 4
    why = rng.choice([1, 2, 3], n, p=[0.6, 0.25, 0.15])
    hours = np.where(out < planned, np.ceil(out * 4) / 4, planned)
    reason = np.where(out < planned, why, 0)
    lost = rng.random(n) < 0.1
    hours = np.where(lost, np.ceil(hours * rng.random(n) * 4) / 4, hours)
    return from_episodes(hours, np.where(lost, CENSORED, reason), REASONS)


def cumulative(counts: EventCounts) -> np.ndarray:
    """Removed by each hour, by reason and in all."""
    return np.column_stack([counts.events, counts.removed_at]).cumsum(axis=0)


def is_few(number: int) -> bool:
    return 0 < number < POLICY.threshold


CASES = [(seed, n) for seed in range(12) for n in (30, 150, 600, 3000)]


@pytest.mark.parametrize("fill", [False, True])
def test_between_two_hours_that_are_read_nobody_or_many_left(fill: bool) -> None:
    for seed, n in CASES:
        counts = invented(seed, n)
        reads = readable(POLICY, counts, HOURS, fill=fill)
        shown = np.column_stack([reads.reasons, reads.in_place])
        for column, may in zip(cumulative(counts).T, shown.T, strict=True):
            steps = np.diff(np.concatenate([[0], column[may]]))
            assert not any(is_few(step) for step in steps), (seed, n)


def test_where_few_remain_nothing_is_read() -> None:
    for seed, n in CASES:
        counts = invented(seed, n)
        left = counts.at_risk - counts.removed_at - counts.censored
        may = readable(POLICY, counts, HOURS, fill=True).any
        assert not any(is_few(number) for number in left[may])


def unknown(reads: Readable, table: np.ndarray, row: int, step: int) -> list[int] | None:
    """How far the reasons not read at a row are from where they are next read.

    None where one of them is not read again, so that no sum can be made.
    """
    found = []
    for j in np.flatnonzero(~reads.reasons[row]).tolist():
        other = row + step
        while 0 <= other < len(table) and not reads.reasons[other, j]:
            other += step
        if other == len(table):
            return None
        found.append(abs(int(table[row, j] - (table[other, j] if other >= 0 else 0))))
    return found


@pytest.mark.parametrize("fill", [False, True])
def test_no_few_can_be_worked_out_from_the_sum(fill: bool) -> None:
    for seed, n in CASES:
        counts = invented(seed, n)
        reads, table = readable(POLICY, counts, HOURS, fill=fill), cumulative(counts)
        for row in np.flatnonzero(reads.in_place).tolist():
            for step in (-1, 1):
                parts = unknown(reads, table, row, step)
                if parts and sum(parts):
                    assert len(parts) > 1, (seed, n, row)
                    assert sum(parts) > POLICY.threshold // 2, (seed, n, row)
        for row in np.flatnonzero(reads.any & ~reads.in_place).tolist():
            assert not reads.reasons[row].all()


def test_the_hour_named_first_is_read_before_others() -> None:
    counts = from_episodes([70.0] * 20 + [72.0] * 5 + [90.0] * 40, [0] * 65, REASONS)
    for hours, expected in (((72, 70), [True, False]), ((70, 72), [False, True])):
        in_place, _ = readable(POLICY, counts, hours, fill=False).at([72, 70])
        assert in_place.tolist() == expected


def test_before_the_first_removal_and_between_the_curve_is_what_it_was() -> None:
    counts = from_episodes([10.0] * 20 + [50.0] * 20, [0] * 40, REASONS)
    in_place, reasons = readable(POLICY, counts, [10, 50], fill=False).at([0, 9, 10, 49, 50, 60])
    assert in_place.all()
    assert reasons.all()


def test_curves_are_held_level_and_end_where_few_remain() -> None:
    counts = invented(1, 600)
    reads = readable(POLICY, counts, HOURS, fill=True)
    whole, held = time_in_place(counts), reads.time(time_in_place(counts))
    last = np.flatnonzero(reads.any)[-1]
    assert held.hours[-1] == counts.hours[last]
    left = counts.at_risk - counts.removed_at - counts.censored
    assert left[last] == 0 or left[last] >= POLICY.threshold
    may = reads.in_place[: last + 1]
    assert np.array_equal(held.estimate[may], whole.estimate[: last + 1][may])
    assert len(np.unique(held.estimate)) <= may.sum() + 1
    assert np.all(held.estimate >= whole.estimate[: last + 1])
    reasons = reads.incidence(incidence(counts))
    assert np.all(np.diff(reasons.incidence, axis=0) >= 0)
    assert np.array_equal(reasons.still_in_place, held.estimate)
    assert held.at(HOURS).estimate == pytest.approx(whole.at(HOURS).estimate)


def test_curves_stay_close_to_what_they_hide() -> None:
    counts = invented(2, 3000)
    reads = readable(POLICY, counts, HOURS, fill=True)
    whole, held = incidence(counts), reads.incidence(incidence(counts))
    # No lower than the true curve an hour before, less a few steps of the threshold.
    earlier = whole.at(held.hours - 1).incidence
    assert np.all(held.incidence >= earlier - 5 * POLICY.threshold / counts.episodes)


def test_the_committee_reads_everything() -> None:
    counts = invented(3, 40)
    reads = readable(Policy(0), counts, HOURS, fill=False)
    assert reads.in_place.all()
    assert reads.reasons.all()
    assert np.array_equal(
        reads.time(time_in_place(counts)).estimate, time_in_place(counts).estimate
    )


def test_no_episodes_at_all() -> None:
    counts = from_episodes([], [], REASONS)
    reads = readable(POLICY, counts, HOURS, fill=True)
    assert len(reads.time(time_in_place(counts)).hours) == 0
    assert len(reads.incidence(incidence(counts)).hours) == 0
