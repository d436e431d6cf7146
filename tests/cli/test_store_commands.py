"""The commands of the store, as a user meets them."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipeline.cli.main import dwell
from pipeline.errors import DwellError, InputError, NoDataError, UsageError
from pipeline.measures.signal_log import kept_list
from pipeline.store import open_store
from tests.store.small import CONTACT, EPISODE, contact, empty_store, episode, write


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "dwell.duckdb").write_bytes(empty_store())
    files = {
        "episode.csv": EPISODE + episode("e1", 1) + episode("e2", 3, age_years="x"),
        "contact.csv": CONTACT + contact(),
    }
    write(tmp_path / "records", files)
    return tmp_path


def run(*words: str) -> Result:
    result = CliRunner().invoke(dwell, list(words))
    if result.exception and not isinstance(result.exception, DwellError | SystemExit):
        raise result.exception
    return result


def test_load_sums_up_on_stderr_and_prints_nothing(here: Path) -> None:
    result = run("load", "records", "--as-of", "2026-01-15")
    assert result.stdout == ""
    assert (
        "episode.csv: 2 rows in = 1 new + 0 corrected + 0 unchanged + 1 set aside" in result.stderr
    )
    assert "age_years: must be a whole number (first in row 3)" in result.stderr
    assert run("load", "records").stderr.startswith("Nothing new")
    assert run("load", "records", "-q").stderr == ""


@pytest.mark.parametrize("day", ["2026-13-01", "soon", "2999-01-01"])
def test_an_impossible_day_is_refused(here: Path, day: str) -> None:
    assert isinstance(run("load", "records", "--as-of", day).exception, UsageError)


def test_status_says_what_the_store_holds(here: Path) -> None:
    assert isinstance(run("status").exception, NoDataError)
    run("load", "records", "--as-of", "2026-01-15", "-q")
    table = run("status").stdout
    for part in ("records as of 2026-01-15", "episode.csv", "must be a whole number"):
        assert part in table
    told = json.loads(run("status", "--format", "json").stdout)
    assert told["as_of"] == "2026-01-15"
    assert {r["record"]: r["rows"] for r in told["records"]}["episode"] == 1
    assert all(file["balances"] for file in told["loads"])
    assert told["set_aside"][0]["rows"] == 1
    csv = run("status", "--format", "csv").stdout.splitlines()
    assert csv[0].startswith("load_id,kind,loaded_at,as_of")
    assert "weight_kg" in run("status", "--completeness").stdout


def test_rejects_history_and_undo_from_the_command_line(here: Path) -> None:
    run("load", "records", "-q")
    assert "age_years" in run("rejects").stdout
    assert run("rejects", "--csv", "episode.fixed.csv").exit_code == 0
    fixed = here / "episode.fixed.csv"
    fixed.write_text(fixed.read_text().replace(",x,", ",7,"))
    assert "cleared: 1 row set aside earlier" in run("load", "episode.fixed.csv").stderr
    assert "current" in run("history", "e2").stdout
    assert isinstance(run("history", "nobody").exception, NoDataError)
    assert "Load 2 is taken back" in run("undo", "2").stderr
    assert isinstance(run("undo", "2").exception, UsageError)


def test_freeze_and_drift_from_the_command_line(here: Path) -> None:
    run("load", "records", "-q")
    assert "edition 1" in run("freeze", "2025-Q2").stderr
    with open_store(here / "dwell.duckdb") as opened:
        assert kept_list(opened, "2025-Q2") is not None
        assert kept_list(opened, "2025-Q1") is None
    assert "Every published figure still stands." in run("drift").stdout
    assert json.loads(run("drift", "--format", "json").stdout) == []
    assert isinstance(run("drift", "2024-Q1").exception, NoDataError)


def test_map_and_pseudonymise_from_the_command_line(here: Path) -> None:
    raw = "Case,In,Age,Team,Block,Plan\nx1,2025-04-03 10:15,9.6,Knee,FNB,72\n"
    write(here / "raw", {"list.csv": raw})
    drafted = run("map", "raw/list.csv", "--out", "raw/mapping.toml")
    assert "no column found for site" in drafted.stderr
    assert isinstance(run("map", "raw/list.csv", "--out", "raw/mapping.toml").exception, UsageError)
    mapping = here / "raw" / "mapping.toml"
    mapping.write_text(mapping.read_text().replace('# site = ""', 'site = { constant = "knot" } #'))
    assert isinstance(run("pseudonymise", "raw", "--out", "safe").exception, UsageError)
    (here / "key").write_text("a long enough secret")
    done = run("pseudonymise", "raw", "--key-file", "key", "--out", "safe")
    assert "dropped: In" in done.stderr
    assert "privacy officer" in done.stderr
    assert ",9," in (here / "safe" / "episode.csv").read_text()
    assert run("load", "safe").exit_code == 0


def test_a_folder_that_is_not_there_is_an_input_error(here: Path) -> None:
    assert isinstance(run("load", "nowhere").exception, InputError)
    assert isinstance(run("map", "nowhere.csv").exception, InputError)
