"""Invented networks as tables of counts, small enough to be read a hundred times."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from pipeline.disclosure.choice import Clock
from pipeline.disclosure.frozen import Item
from pipeline.disclosure.telling import tell_quarter
from pipeline.disclosure.told import Decision
from tests.disclosure.reader import World

ITEMS = (
    Item("catheters", 1000.0, has_others=False, is_counted=False),
    Item("dislodgement", 100.0),
    Item("early", 10.0),
    Item("toxicity", 90.0, base="exposure", has_others=False),
    Item("urgent", 9.0, base="exposure", has_others=False),
    Item("completed", 8.0),
    Item("leaked", 5.0, is_yearly=True, is_grouped=False),
)


CHAINS = (
    ("dislodgement", "early", "completed"),
    ("dislodgement", "early", "leaked"),
    ("toxicity", "urgent", "dislodgement"),
)


def invented(seed: int, quarters: int = 6) -> World:
    """Draw a network: its sites, their sizes and how often what happens."""
    rng = np.random.default_rng(seed)
    sites, types = int(rng.integers(1, 4)), 2
    names = {"catheters", *CHAINS[int(rng.integers(3))]}
    items = tuple(item for item in ITEMS if item.name in names)
    known, has = _kinds([item.name for item in items])
    size = rng.choice([8.0, 20.0, 45.0, 120.0], size=sites)
    share = rng.dirichlet(np.ones(types) * rng.choice([0.5, 3.0]))
    chance = np.where(has, rng.choice([0.03, 0.1, 0.3], len(items)), 0.5)
    chance = np.where(known, chance, rng.choice([0.0, 0.02, 0.1])).prod(axis=1)
    chance *= rng.gamma(2.0, size=len(chance))
    mean = size[:, None, None] * share[:, None] * chance / chance.sum()
    counts = rng.poisson(np.broadcast_to(mean, (quarters, *mean.shape)))
    return World(items, counts, known, has, begins=int(rng.integers(4)))


def _kinds(names: list[str]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return every kind of catheter that obeys what implies what."""
    states = [(True,)] + [(None, False, True)] * (len(names) - 1)
    kinds = [k for k in product(*states) if _can_be(dict(zip(names, k, strict=True)))]
    known = np.array([[state is not None for state in kind] for kind in kinds])
    has = np.array([[bool(state) and i > 0 for i, state in enumerate(kind)] for kind in kinds])
    return known, has


def _can_be(kind: dict[str, bool | None]) -> bool:
    """Whether early removal, urgent symptoms and a completed course fit together."""
    known = {name: kind.get(name) is not None for name in kind}
    fits = kind.get("leaked", False) is not None
    if "early" in kind:
        came_out, is_early = kind["dislodgement"], kind["early"]
        fits &= known["dislodgement"] == known["early"] and not (came_out and not is_early)
    if "urgent" in kind:
        fits &= known["urgent"] == known["toxicity"]
        fits &= not (kind["urgent"] and not kind["toxicity"])
    if "completed" in kind:
        fits &= not (known["dislodgement"] and not known["completed"])
        fits &= not (is_early and kind["completed"])
    return fits


def corrected(world: World, rng: np.random.Generator) -> World:
    """Return a world of which some catheters' records were corrected: they are of other kinds."""
    counts = world.counts.copy()
    for _ in range(12):
        t, s, u = (int(rng.integers(n)) for n in counts.shape[:3])
        was, now = (int(rng.integers(counts.shape[3])) for _ in range(2))
        if counts[t, s, u, was]:
            counts[t, s, u, was] -= 1
            counts[t, s, u, now] += 1
    return replace(world, counts=counts)


def released(
    world: World, seed: int = 0, *, releases: Sequence[int] | None = None, threshold: int = 11
) -> tuple[World, list[Decision]]:
    """Make releases, with corrections between them.

    Parameters
    ----------
    world : World
        As the records first are.
    releases : sequence of int, optional
        Quarters that each release covers in all; three of them unless given.

    Returns
    -------
    frozen : World
        The counts of each quarter as they were when it was first released.
    decisions : list of Decision
        All that was decided.
    """
    rng = np.random.default_rng(seed)
    quarters = len(world.counts)
    decisions: list[Decision] = []
    frozen = world
    for upto in releases or (quarters - 4, quarters - 2, quarters):
        done = len({d.last for d in decisions})
        counts = np.concatenate([frozen.counts[:done], world.counts[done:]])
        frozen = replace(frozen, counts=counts)
        for quarter in range(done, upto):
            history = replace(frozen.history(quarter + 1), implied=world.implied())
            decisions += tell_quarter(
                history, decisions, quarter, threshold=threshold, clock=Clock()
            )
        world = corrected(world, rng)
    return frozen, decisions
