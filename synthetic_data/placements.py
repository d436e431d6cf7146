"""Who gets a catheter, where, when and with what: everything known at placement."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.records.codes import Drug, NerveTarget, PlacedBy, SurgeonType
from synthetic_data.draws import (
    Flags,
    Floats,
    Ints,
    between,
    chance,
    choose,
    choose_by,
    to_quarter_hour,
)
from synthetic_data.scenario import Scenario, weights

SAME_DAY_H = (3.0, 8.0)  # from placement until home, where the child goes home the same day
NEXT_DAY_CLOCK = (9.0, 14.0)  # clock hours of going home on the next day
REPEAT_WITHIN_MONTHS = 12


@dataclass(frozen=True)
class Pump:
    """What a batch of pumps is filled with and set to; arrays of shape (n,)."""

    drug: Ints
    concentration_pct: Floats
    rate_ml_h: Floats
    reservoir_ml: Floats


@dataclass(frozen=True)
class Placements:
    """A batch of placements, arrays of shape (n,) in the order of month, site and day.

    Codes are positions in their vocabulary, `site` and `month` positions in the scenario;
    `serial` counts all episodes of the folder, and `patient` is the serial of the child's
    first one.
    """

    serial: Ints
    patient: Ints
    site: Ints
    month: Ints
    month_order: Ints
    is_last_of_network: Flags  # among the latest placements of the last month
    placed_hour: Ints
    age_years: Ints
    weight_kg: Floats
    interpreter_needed: Flags
    surgeon_type: Ints
    nerve_target: Ints
    placed_by: Ints
    tunnelled: Flags
    skin_glue: Flags
    is_after_securement: Flags
    pump: Pump
    planned_dwell_h: Floats
    discharged_h: Floats

    @property
    def size(self) -> int:
        """Number of placements."""
        return self.serial.size


def plan(scenario: Scenario, episodes: int, rng: np.random.Generator) -> Ints:
    """Share out exactly `episodes` placements, shape (months, sites)."""
    shares = scenario.cell_shares
    return rng.multinomial(episodes, shares.ravel()).reshape(shares.shape)


def place(
    scenario: Scenario, planned: Ints, start: int, stop: int, rng: np.random.Generator
) -> Placements:
    """Draw the placements from `start` up to `stop` of the plan."""
    serial = np.arange(start, stop)
    edges = np.concatenate([[0], np.cumsum(planned)])
    cell = np.searchsorted(edges, serial, side="right") - 1
    month, site = np.divmod(cell, planned.shape[1])
    order = serial - edges[cell] + 1
    first = _first_of_child(site, month, scenario.network["repeat_share"], rng)
    surgeon = choose_by(rng, scenario.surgeon_shares, site)[first]
    age, weight = _age_and_weight(scenario, surgeon, first, month, rng)
    planned_dwell = _planned_dwell(scenario, surgeon, rng)
    hour = choose(rng, placed_weights(scenario), serial.size)
    secured = _after_securement(scenario)[month, site]
    tail = scenario.planted["immature"]["share"]
    return Placements(
        serial=serial,
        patient=serial[first],
        site=site,
        month=month,
        month_order=order,
        is_last_of_network=(month == len(planned) - 1)
        & (order > planned[month, site] * (1 - tail)),
        placed_hour=hour,
        age_years=age,
        weight_kg=weight,
        interpreter_needed=chance(rng, scenario.network["interpreter_share"], serial.size)[first],
        surgeon_type=surgeon,
        nerve_target=choose_by(rng, _nerve_shares(scenario), surgeon),
        placed_by=choose(rng, weights(PlacedBy, scenario.tables["placed_by"]), serial.size),
        tunnelled=chance(rng, _habit(scenario, "tunnelled")[site], serial.size),
        skin_glue=chance(rng, _glue_use(scenario, site, secured), serial.size),
        is_after_securement=secured,
        planned_dwell_h=planned_dwell,
        discharged_h=_discharged(scenario, hour, rng),
        pump=draw_pumps(scenario, weight, planned_dwell, rng),
    )


def placed_weights(scenario: Scenario) -> Floats:
    """Return the relative frequency of each clock hour of placement, shape (24,)."""
    table = scenario.network["placed_hours"]
    spread = np.zeros(24)
    spread[table["first"] : table["first"] + len(table["weights"])] = table["weights"]
    return spread


def _first_of_child(site: Ints, month: Ints, share: float, rng: np.random.Generator) -> Ints:
    """Link some placements to one of the year before at the same site, never twice a month.

    Returns the position, within the batch, of the first placement of each one's child.
    """
    size = site.size
    repeat = chance(rng, share, size)
    by_site = np.lexsort((month, site))
    key = (site * 10_000 + month)[by_site]
    firsts = np.flatnonzero(~repeat[by_site])
    seekers = np.flatnonzero(repeat[by_site])
    opens = np.maximum(key[seekers] - REPEAT_WITHIN_MONTHS, key[seekers] // 10_000 * 10_000)
    low = np.searchsorted(firsts, np.searchsorted(key, opens))
    high = np.searchsorted(firsts, np.searchsorted(key, key[seekers]))
    pick = low + (rng.random(seekers.size) * (high - low)).astype(np.int64)
    found = high > low
    seekers, donors = seekers[found], firsts[pick[found]]
    _, once = np.unique(np.stack([donors, key[seekers]]), axis=1, return_index=True)
    first = np.arange(size)
    first[by_site[seekers[once]]] = by_site[donors[once]]
    return first


def _age_and_weight(
    scenario: Scenario, surgeon: Ints, first: Ints, month: Ints, rng: np.random.Generator
) -> tuple[Ints, Floats]:
    """Draw whole years and kilograms; a repeat catheter finds the child older and heavier."""
    table = scenario.tables["surgeon_type"]
    centre = np.array([table[code.value]["age"] for code in SurgeonType])[surgeon]
    exact = np.clip(rng.normal(centre[:, 0], centre[:, 1]), 1.0, 20.5)[first]
    exact = exact + (month - month[first]) / 12
    # Typical weight for age, by the usual two straight lines (common practice, no source).
    typical = np.where(exact < 12, 2.1 * exact + 9, 3.9 * exact - 11)
    build = rng.lognormal(0.03, 0.18, surgeon.size)[first]
    weight = np.clip(typical * build, 7.0, 140.0).round(1)
    return np.minimum(exact, 21).astype(np.int64), weight


def _planned_dwell(scenario: Scenario, surgeon: Ints, rng: np.random.Generator) -> Floats:
    tables = [scenario.tables["surgeon_type"][c.value]["planned_dwell_h"] for c in SurgeonType]
    hours = sorted({hours for table in tables for hours in table}, key=float)
    shares = np.array([[table.get(h, 0.0) for h in hours] for table in tables])
    return np.array(hours, dtype=float)[choose_by(rng, shares, surgeon)]


def _nerve_shares(scenario: Scenario) -> Floats:
    tables = scenario.tables["surgeon_type"]
    return np.array([weights(NerveTarget, tables[c.value]["nerve_target"]) for c in SurgeonType])


def _habit(scenario: Scenario, name: str) -> Floats:
    return np.array([getattr(site, name) for site in scenario.sites])


def _glue_use(scenario: Scenario, site: Ints, secured: Flags) -> Floats:
    usual = _habit(scenario, "skin_glue")[site]
    return np.where(secured, scenario.planted["securement"]["skin_glue"], usual)


def _after_securement(scenario: Scenario) -> Flags:
    """Whether the securement change is in force, shape (months, sites)."""
    change = scenario.change(scenario.planted["securement"]["change"])
    begun = np.array([month >= change.started_month for month in scenario.months])
    return begun[:, None] & np.array([change.is_at(code) for code in scenario.site_codes])


def _discharged(scenario: Scenario, placed_hour: Ints, rng: np.random.Generator) -> Floats:
    size = placed_hour.size
    same_day = chance(rng, scenario.network["home_same_day"], size)
    next_day = 24 - placed_hour + between(rng, NEXT_DAY_CLOCK, size)
    return to_quarter_hour(np.where(same_day, between(rng, SAME_DAY_H, size), next_day))


def draw_pumps(
    scenario: Scenario, weight: Floats, planned: Floats, rng: np.random.Generator
) -> Pump:
    """Draw the drug, and set a rate and a reservoir for the child's weight and course."""
    table = scenario.tables["pump"]
    drug = choose(rng, weights(Drug, table["drug"]), weight.size)
    concentration = _concentration(table, drug, rng)
    median, spread = table["dose_mg_kg_h"]
    aim = rng.lognormal(np.log(median), spread, weight.size) * weight / (10 * concentration)
    rate = _nearest(np.array(table["rate_settings_ml_h"]), aim)
    sizes = np.array(table["reservoir_sizes_ml"])
    enough = np.searchsorted(sizes, rate * planned)
    smaller = chance(rng, table["too_small"], weight.size)
    fitting = np.clip(enough - smaller, 0, sizes.size - 1)
    return Pump(drug, concentration, rate, reservoir_ml=sizes[fitting])


def _concentration(table: Mapping[str, Any], drug: Ints, rng: np.random.Generator) -> Floats:
    tables = [table["concentration_pct"].get(code.value, {"0.2": 1.0}) for code in Drug]
    steps = sorted({step for one in tables for step in one}, key=float)
    shares = np.array([[one.get(step, 0.0) for step in steps] for one in tables])
    return np.array(steps, dtype=float)[choose_by(rng, shares, drug)]


def _nearest(settings: Floats, aim: Floats) -> Floats:
    return settings[np.searchsorted((settings[1:] + settings[:-1]) / 2, aim)]
