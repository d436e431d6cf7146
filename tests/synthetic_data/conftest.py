"""Invented records large enough for planted truths to show."""

import polars as pl
import pytest

from synthetic_data.generate import Batch
from synthetic_data.scenario import Scenario, load_scenario, without_planted
from tests.synthetic_data.invented import records, with_dwell


@pytest.fixture(scope="session")
def scenario() -> Scenario:
    return load_scenario()


@pytest.fixture(scope="session")
def made(scenario: Scenario) -> Batch:
    return records(scenario, episodes=60_000)


@pytest.fixture(scope="session")
def made_without_planted(scenario: Scenario) -> Batch:
    return records(without_planted(scenario), episodes=40_000)


@pytest.fixture(scope="session")
def dwell(made: Batch) -> pl.DataFrame:
    return with_dwell(made["episode"])
