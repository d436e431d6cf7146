"""Two sites' own exports, read through their mappings, say what the layout would say."""

import hashlib
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.records.folder import find_sources
from pipeline.records.layout import RECORDS
from pipeline.records.mapping_file import load_mapping
from pipeline.store.load import load_files
from synthetic_data import write_folder
from synthetic_data.generate import Batch, batches
from synthetic_data.scenario import load_scenario
from synthetic_data.site_exports import IGNORED, SITES, split_off, write_export

EPISODES = 400
EXPORTED = ("episode", "contact", "visit", "event")


@pytest.fixture(scope="module")
def made() -> Batch:
    return next(batches(load_scenario(), episodes=EPISODES, seed=4))


@pytest.fixture(scope="module")
def delivery(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("delivery")
    write_folder(folder, episodes=EPISODES, seed=4, chunk=150, site_exports=True)
    return folder


@pytest.fixture(scope="module")
def stored(delivery: Path) -> dict[str, pl.DataFrame]:
    store = delivery / "programme.duckdb"
    load_files(store, find_sources(delivery))
    for site in SITES:
        mapping = load_mapping(delivery / site / "mapping.toml")
        result = load_files(store, find_sources(delivery / site, mapping), mapping=mapping)
        assert result.faults == ()
    with duckdb.connect(store, read_only=True) as database:
        return {name: database.sql(f"select * from {name}").pl() for name in EXPORTED}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pl.DataFrame]:
    folder = tmp_path_factory.mktemp("whole")
    write_folder(folder, episodes=EPISODES, seed=4, chunk=150, format="parquet")
    return {name: pl.read_parquet(folder / f"{name}.parquet") for name in EXPORTED}


@pytest.mark.parametrize("name", ["contact", "visit", "event"])
def test_contacts_visits_and_events_come_back_unchanged(
    name: str, stored: dict[str, pl.DataFrame], whole: dict[str, pl.DataFrame]
):
    key, columns = RECORDS[name].key, list(RECORDS[name].columns)
    kept = stored[name].select(columns).cast(dict(whole[name].schema)).sort(key)
    assert kept.equals(whole[name].sort(key))


def test_episodes_come_back_but_for_rounding(
    stored: dict[str, pl.DataFrame], whole: dict[str, pl.DataFrame]
):
    # Pounds are written to one decimal. Order and hour of placement come from clock times
    # that are made up for the export; everything else is the same to the last digit.
    made_up = ["weight_kg", "month_order", "placed_hour"]
    columns = [name for name in RECORDS["episode"].columns if name not in made_up]
    expected = whole["episode"].sort("episode_id")
    kept = stored["episode"].select(RECORDS["episode"].columns).cast(dict(expected.schema))
    kept = kept.sort("episode_id")
    assert kept.select(columns).equals(expected.select(columns))
    assert (kept["weight_kg"] - expected["weight_kg"]).abs().max() < 0.03
    known = expected["placed_hour"].is_not_null()
    assert kept["placed_hour"].filter(known).equals(expected["placed_hour"].filter(known))


def test_clock_order_keeps_the_order_within_the_month(
    stored: dict[str, pl.DataFrame], whole: dict[str, pl.DataFrame]
):
    both = stored["episode"].join(whole["episode"], on="episode_id", suffix="_made")
    assert (both["month_order"] == both["month_order_made"]).all()


def test_the_folder_itself_leaves_those_sites_out(delivery: Path):
    left = pl.read_csv(delivery / "episode.csv", infer_schema=False)["site"].unique()
    assert set(left) == {"avocet", "curlew", "dunlin"}
    assert set(pl.read_csv(delivery / "site.csv")["site"]) >= set(SITES)


def test_the_same_records_give_the_same_bytes(made: Batch, tmp_path: Path):
    digests = []
    for again in ("one", "two"):
        for site in SITES:
            write_export(tmp_path / again / site, site, split_off(made, site)[1], seed=2)
        files = sorted((tmp_path / again).rglob("*.*"))
        digests.append([hashlib.sha256(path.read_bytes()).hexdigest() for path in files])
    assert digests[0] == digests[1]
    assert len(digests[0]) == 10


def test_the_csv_export_has_the_traits_that_make_exports_hard(delivery: Path):
    raw = (delivery / "godwit" / "catheters.csv").read_bytes()
    text = raw.decode("latin-1")
    assert "Cathéter n°" in text.splitlines()[0]
    assert b"\r\n" in raw
    assert "dry; pump full" in text
    assert "seen twice:\nno change" in text
    with pytest.raises(UnicodeDecodeError):
        raw.decode("utf-8")


def test_every_ignored_column_has_something_in_it(delivery: Path):
    mappings = [load_mapping(delivery / site / "mapping.toml") for site in SITES]
    ignored = {name for m in mappings for own in m.records.values() for name in own.ignore}
    assert ignored == set(IGNORED)


@pytest.mark.parametrize("site", SITES)
def test_the_mapping_covers_the_whole_layout(delivery: Path, site: str):
    mapping = load_mapping(delivery / site / "mapping.toml")
    assert set(mapping.records) == {"episode", "contact", "visit", "event"}
    for name, own in mapping.records.items():
        assert set(own.columns) == set(RECORDS[name].columns)
