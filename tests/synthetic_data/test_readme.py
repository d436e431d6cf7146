"""The figures that the README gives for the default folder are those of the default folder."""

from pathlib import Path

import polars as pl
import pytest

from synthetic_data.folder import DEFAULT_SEED
from synthetic_data.generate import Batch, batches
from synthetic_data.scenario import Scenario
from tests.synthetic_data.invented import with_dwell

README = Path(__file__).parents[2] / "synthetic_data" / "README.md"


@pytest.fixture(scope="module")
def default(scenario: Scenario) -> Batch:
    return next(batches(scenario, episodes=scenario.episodes, seed=DEFAULT_SEED))


def count_of(frame: pl.DataFrame) -> str:
    return f"{frame['is_dislodged'].sum():,} of {frame.height:,}"


def with_dislodged(default: Batch) -> pl.DataFrame:
    dislodged = (pl.col("removal_reason") == "dislodged").fill_null(False)
    return default["episode"].with_columns(is_dislodged=dislodged)


def test_the_change_before_and_after(default: Batch, scenario: Scenario):
    change = scenario.change("securement")
    at_sites = pl.col("site").cast(pl.String).is_in(change.sites)
    after = pl.col("placed_month").cast(pl.String) >= change.started_month
    here = with_dislodged(default).filter(at_sites)
    expected = f"({count_of(here.filter(~after))}, then {count_of(here.filter(after))})"
    assert expected in README.read_text("utf-8")


def test_the_surgeon_type(default: Batch):
    case = with_dislodged(default).filter(pl.col("surgeon_type") == "limb_reconstruction")
    assert f"({count_of(case)})" in README.read_text("utf-8")


def test_the_cluster(default: Batch, scenario: Scenario):
    cluster = scenario.planted["toxicity_cluster"]
    inside = (pl.col("site") == cluster["site"]) & pl.col("placed_month").cast(pl.String).is_in(
        cluster["months"]
    )
    here = default["episode"].filter(inside)
    told = default["contact"].filter(pl.col("topic") == "toxicity_symptom")
    count = told.filter(pl.col("episode_id").is_in(here["episode_id"].implode())).height
    rest = default["episode"].height - here.height
    expected = (
        f"{count} contacts in {here.height} episodes; {told.height - count} in the other {rest:,}"
    )
    assert expected in README.read_text("utf-8")


def test_the_intervals(default: Batch):
    episode = default["episode"]
    interval = episode["removed_before_h"].is_not_null().sum()
    known = interval + episode["removed_h"].is_not_null().sum()
    assert f"{interval:,} of {known:,} removals" in README.read_text("utf-8")


def test_the_median(default: Batch):
    median = with_dwell(default["episode"])["dwell_h"].median()
    assert f"median {median:.0f} h in place" in README.read_text("utf-8")
