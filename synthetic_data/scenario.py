"""The scenario: the invented network as read from ``scenario.toml``."""

import copy
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.records.codes import Code, SurgeonType

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Site:
    """One invented site: its share of the volume and its habits."""

    code: str
    label: str
    share: float
    opened_month: str
    tunnelled: float
    skin_glue: float
    more_of: Mapping[str, float]


@dataclass(frozen=True)
class Change:
    """One entry of the invented improvement log."""

    change_id: str
    started_month: str
    sites: tuple[str, ...]
    title: str
    measures: tuple[str, ...]
    new_phase: bool
    kind: str = "change"
    reason: str | None = None

    def is_at(self, site: str) -> bool:
        """Whether the site made the change."""
        return self.sites == ("all",) or site in self.sites


@dataclass(frozen=True)
class Scenario:
    """The whole of an invented network.

    `tables` holds the remaining tables of the file as they stand there (hazards, contacts,
    planted truths); `months` runs without gaps, as ``YYYY-MM``.
    """

    months: tuple[str, ...]
    episodes: int
    sites: tuple[Site, ...]
    changes: tuple[Change, ...]
    tables: Mapping[str, Any]

    @property
    def network(self) -> Mapping[str, Any]:
        """Volumes and families."""
        return self.tables["network"]

    @property
    def planted(self) -> Mapping[str, Any]:
        """The planted truths."""
        return self.tables["planted"]

    @property
    def actions(self) -> list[dict[str, Any]]:
        """The improvement actions, as rows of the layout."""
        return [
            {**action, "measures": ";".join(action["measures"])} for action in self.tables["action"]
        ]

    @cached_property
    def site_codes(self) -> tuple[str, ...]:
        """Codes of the sites, in order."""
        return tuple(site.code for site in self.sites)

    def change(self, change_id: str) -> Change:
        """Return the change called `change_id`; `KeyError` where there is none."""
        for change in self.changes:
            if change.change_id == change_id:
                return change
        raise KeyError(change_id)

    def is_site(self, code: str) -> npt.NDArray[np.bool_]:
        """Return a mask over the sites, true for the site called `code`."""
        return np.array([site == code for site in self.site_codes])

    @cached_property
    def surgeon_shares(self) -> Floats:
        """Shares of the surgeon types at each site, shape (sites, types)."""
        base = weights(SurgeonType, {k: v["share"] for k, v in self.tables["surgeon_type"].items()})
        tilt = [weights(SurgeonType, site.more_of, otherwise=1.0) for site in self.sites]
        shares = base * np.array(tilt)
        return shares / shares.sum(axis=1, keepdims=True)

    @cached_property
    def cell_shares(self) -> Floats:
        """Expected share of all episodes in each month and site, shape (months, sites)."""
        years = np.arange(len(self.months)) / 12
        growth = (1 + self.network["growth_per_year"]) ** years
        season = np.array([self.network["season"][int(month[5:]) - 1] for month in self.months])
        site = np.array([s.share for s in self.sites])
        opened = np.array([[month >= s.opened_month for s in self.sites] for month in self.months])
        shares = (growth * season)[:, None] * site * opened
        return shares / shares.sum()


def load_scenario(*, sites: int | None = None, months: int | None = None) -> Scenario:
    """Read the scenario, made larger or smaller where asked.

    Parameters
    ----------
    sites : int, optional
        Number of sites. The first are those of the file; more are named after other waders
        and carry no planted truth.
    months : int, optional
        Number of months, counted back from the scenario's last one.

    Raises
    ------
    ValueError
        If `sites` or `months` is below one.
    """
    text = resources.files("synthetic_data").joinpath("scenario.toml").read_text("utf-8")
    tables = tomllib.loads(text)
    scenario = Scenario(
        months=months_until(tables["network"]["last_month"], tables["network"]["months"]),
        episodes=tables["network"]["episodes"],
        sites=tuple(Site(**site) for site in tables.pop("site")),
        changes=tuple(_change(change) for change in tables.pop("change")),
        tables=tables,
    )
    return _resized(scenario, sites=sites, months=months)


def without_planted(scenario: Scenario) -> Scenario:
    """Return the same network with every planted difference taken away.

    Sites then differ in volume and case mix alone, no change has an effect, and the
    surgeon types differ as before in case mix only: for trials of what is called by chance.
    """
    tables = copy.deepcopy(dict(scenario.tables))
    planted = tables["planted"]
    planted["securement"]["dislodgement_hazard_ratio"] = 1.0
    planted["leakage"]["hazard_ratio"] = 1.0
    planted["toxicity_cluster"]["hazard_ratio"] = 1.0
    planted["reach"]["at_site"] = planted["reach"]["elsewhere"]
    planted["reach"]["interpreter_odds_ratio"] = 1.0
    planted["first_night"]["rate_ratio"] = 1.0
    planted["missing"]["ratio"] = 1.0
    planted["pumps_that_run_on"]["at_site"] = planted["pumps_that_run_on"]["elsewhere"]
    tunnelled = sum(site.tunnelled for site in scenario.sites) / len(scenario.sites)
    sites = tuple(replace(site, tunnelled=tunnelled) for site in scenario.sites)
    return replace(scenario, sites=sites, tables=tables)


def months_until(last: str, count: int) -> tuple[str, ...]:
    """Return `count` months up to `last`, as ``YYYY-MM``."""
    end = int(last[:4]) * 12 + int(last[5:]) - 1
    return tuple(f"{m // 12:04d}-{m % 12 + 1:02d}" for m in range(end - count + 1, end + 1))


def weights(codes: type[Code], table: Mapping[str, float], *, otherwise: float = 0.0) -> Floats:
    """Spread a table of code to number over the whole vocabulary, in its order.

    Raises
    ------
    ValueError
        If the table names a code that is not in the vocabulary.
    """
    known = [code.value for code in codes]
    if unknown := set(table) - set(known):
        raise ValueError(f"not in {codes.__name__}: {', '.join(sorted(unknown))}")
    return np.array([table.get(code, otherwise) for code in known], dtype=float)


def _change(table: dict[str, Any]) -> Change:
    return Change(**{**table, "sites": tuple(table["sites"]), "measures": tuple(table["measures"])})


def _resized(scenario: Scenario, *, sites: int | None, months: int | None) -> Scenario:
    if months is not None:
        if months < 1:
            raise ValueError("months must be at least 1")
        first = scenario.months[0]
        scenario = replace(
            scenario,
            months=months_until(scenario.months[-1], months),
            sites=tuple(_open_throughout(site, first) for site in scenario.sites),
        )
    if sites is not None:
        if sites < 1:
            raise ValueError("sites must be at least 1")
        more = range(len(scenario.sites), sites)
        extra = tuple(_another_site(scenario, position) for position in more)
        scenario = replace(scenario, sites=scenario.sites[:sites] + extra)
        scenario = replace(scenario, changes=_changes_at(scenario))
    return scenario


def _changes_at(scenario: Scenario) -> tuple[Change, ...]:
    """Return the changes that a site of the network made, at those sites."""
    here = ("all", *scenario.site_codes)
    changes = [
        replace(change, sites=tuple(code for code in change.sites if code in here))
        for change in scenario.changes
    ]
    return tuple(change for change in changes if change.sites)


def _open_throughout(site: Site, first: str) -> Site:
    """Open a site before everything where it was open from the scenario's first month."""
    return replace(site, opened_month="1990-01") if site.opened_month == first else site


def _another_site(scenario: Scenario, position: int) -> Site:
    """Make up a site that differs from others in volume alone; the same one every time."""
    names = scenario.network["more_names"]
    round_, place = divmod(position - len(scenario.sites), len(names))
    label = names[place] if round_ == 0 else f"{names[place]} {round_ + 1}"
    spread = np.random.default_rng([position]).lognormal(-1.8, 0.6)
    return Site(label.lower().replace(" ", "_"), label, spread, "1990-01", 0.35, 0.20, {})
