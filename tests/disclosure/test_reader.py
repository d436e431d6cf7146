"""Nobody with every release and a linear programme works out a count of few children."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.disclosure.choice import Clock, Room, farthest_apart, fewest_withheld
from pipeline.disclosure.told import BESIDE, FEW_WITH, PARTNER
from tests.disclosure.reader import Reader
from tests.disclosure.worlds import corrected, invented, released
from tests.sizes import part

EACH = part(20)


def recovered(seed):
    frozen, decisions = released(invented(seed), seed)
    history = frozen.history()
    return Reader.of(frozen, history, decisions).recovered(history, decisions)


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_recovered(seed):
    assert not recovered(seed)


@pytest.mark.slow
@pytest.mark.parametrize("start", range(4, 4 + 10 * EACH, EACH))
def test_nothing_is_recovered_of_many_more_networks(start):
    found = {seed: recovered(seed) for seed in range(start, start + EACH)}
    assert not {seed: names for seed, names in found.items() if names}


def with_one_put_back(why):
    """Tell one figure that is withheld, network after network, and read what is told then."""
    for seed in range(200):
        frozen, decisions = released(invented(seed), seed)
        for place, decision in enumerate(decisions):
            if decision.why == why and decision.item != "catheters":
                told = [*decisions]
                told[place] = replace(decision, why="")
                history = frozen.history()
                yield Reader.of(frozen, history, told).recovered(history, told)
                break


@pytest.mark.parametrize("why", [FEW_WITH, PARTNER, BESIDE])
def test_the_reader_finds_a_figure_that_is_put_back(why):
    tries = with_one_put_back(why)
    assert any(next(tries) for _ in range(6))


def test_what_was_told_stays_whatever_is_corrected():
    world = invented(3)
    frozen, first = released(world, releases=[3])
    later, all_of_it = released(world, seed=9, releases=[3, 6])
    assert all_of_it[: len(first)] == first
    assert np.array_equal(frozen.counts[:3], later.counts[:3])
    assert not np.array_equal(corrected(world, np.random.default_rng(9)).counts, world.counts)


def test_no_two_spans_of_a_figure_overlap():
    for seed in range(20):
        _, decisions = released(invented(seed), seed)
        seen = set()
        for told in (d for d in decisions if not d.why):
            years = [(told.item, told.family, told.group, q) for q in _quarters(told)]
            assert not seen & set(years)
            seen |= set(years)


def _quarters(told):
    first, last = (int(q[:4]) * 4 + int(q[-1]) for q in (told.first, told.last))
    return range(first, last + 1)


def test_without_time_a_safe_choice_is_made():
    clock = Clock(seconds=0.0)
    told = farthest_apart(np.array([1.0, 3.0, 2.0]), [(0, 1), (1, 2)], clock)
    assert told.tolist() == [False, True, False]
    assert clock.ran_out
    counts = np.array([4.0, 30.0, 12.0])
    room = Room(counts, 11.0, np.ones(3, bool))
    withheld = fewest_withheld(
        np.array([1.1, 1.5, 1.2]), np.array([True, False, False]), [room], clock
    )
    assert room.fits(withheld)
    assert not withheld.all()


def test_with_time_the_choice_is_the_best():
    clock = Clock()
    told = farthest_apart(np.array([2.0, 3.0, 2.0]), [(0, 1), (1, 2)], clock)
    assert told.tolist() == [True, False, True]
    room = Room(np.array([4.0, 30.0, 6.0, 8.0]), 11.0, np.ones(4, bool))
    forced = np.array([True, False, False, False])
    cost = np.array([1.0, 1.9, 1.2, 1.3])
    assert fewest_withheld(cost, forced, [room], clock).tolist() == [True, False, False, True]
    assert not clock.ran_out
