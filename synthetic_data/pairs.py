"""Two catheters at once: some children get one at the thigh and one at the knee."""

from dataclasses import replace

import numpy as np

from pipeline.records.codes import NerveTarget
from synthetic_data.draws import Ints, chance
from synthetic_data.placements import Placements, draw_pumps
from synthetic_data.scenario import Scenario

FIRST = [list(NerveTarget).index(n) for n in (NerveTarget.FEMORAL, NerveTarget.ADDUCTOR_CANAL)]
SECOND = list(NerveTarget).index(NerveTarget.SCIATIC_POPLITEAL)
SAME = (
    "patient", "placed_hour", "age_years", "weight_kg", "interpreter_needed", "surgeon_type",
    "placed_by", "planned_dwell_h", "discharged_h",
)  # fmt: skip


def pair_up(
    scenario: Scenario, placed: Placements, rng: np.random.Generator
) -> tuple[Placements, Ints]:
    """Make some placements the second catheter of the child before.

    Returns the placements, and for each the serial number of its operation; -1 where it
    is the only catheter of one.
    """
    second = _seconds(placed, scenario.planted["two_catheters"]["share"], rng)
    first = second - 1
    changed = {name: getattr(placed, name).copy() for name in (*SAME, "nerve_target")}
    for name in SAME:
        changed[name][second] = changed[name][first]
    changed["nerve_target"][second] = SECOND
    drawn = draw_pumps(scenario, changed["weight_kg"], changed["planned_dwell_h"], rng)
    is_second = np.isin(np.arange(placed.size), second)
    pump = replace(
        placed.pump,
        **{n: np.where(is_second, vars(drawn)[n], v) for n, v in vars(placed.pump).items()},
    )
    operation = np.full(placed.size, -1)
    operation[first] = operation[second] = placed.serial[first]
    return replace(placed, **changed, pump=pump), operation


def _seconds(placed: Placements, share: float, rng: np.random.Generator) -> Ints:
    """Choose placements that follow another child's at the same site in the same month."""
    before = np.arange(placed.size - 1)
    fits = np.isin(placed.nerve_target[before], FIRST)
    fits &= (placed.site[1:] == placed.site[:-1]) & (placed.month[1:] == placed.month[:-1])
    fits &= placed.patient[1:] == placed.serial[1:]
    fits &= chance(rng, share, before.size)
    fits[1:] &= ~fits[:-1]  # no child gets three
    return np.flatnonzero(fits) + 1
