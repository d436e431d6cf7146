"""`dwell` alone says what comes next; `dwell doctor` says what is wrong."""

import datetime as dt
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli import checkup
from pipeline.cli.main import dwell
from pipeline.cli.next_step import waiting
from pipeline.measures.published import freeze
from pipeline.measures.store_state import store_state
from pipeline.store import open_store
from tests.conftest import Database

TODAY = dt.date(2026, 1, 10)
QUARTER = "episode_id | placed_month\ne1 | 2025-07\ne2 | 2025-08\ne3 | 2025-11"


def next_steps(path: Path, today: dt.date = TODAY) -> list[str]:
    with open_store(path) as store:
        found = store_state(store, today)
    assert found is not None
    return [step for step, _ in waiting(found)]


@pytest.fixture
def path(db: Database, tmp_path: Path) -> Path:
    db.given("episode", QUARTER)
    return db.save(tmp_path / "dwell.duckdb")


def test_without_a_store_the_demonstration_and_loading_come_next(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DWELL_DB", raising=False)
    done = CliRunner().invoke(dwell, [])
    assert done.exit_code == 0
    assert "There is no store at dwell.duckdb yet." in done.stdout
    assert "dwell demo " in done.stdout
    assert "dwell load FOLDER" in done.stdout


def test_a_demonstration_that_was_made_is_pointed_to(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DWELL_DB", raising=False)
    (tmp_path / "demo").mkdir()
    for name in ("INVENTED", "dwell.duckdb"):
        (tmp_path / "demo" / name).touch()
    assert "dwell status --db demo/dwell.duckdb" in CliRunner().invoke(dwell, []).stdout


def test_the_store_that_was_named_is_named_in_what_comes_next(path, monkeypatch) -> None:
    monkeypatch.setenv("DWELL_DB", str(path))
    done = CliRunner().invoke(dwell, [])
    assert "holds 3 episodes at 1 site, placed 2025-07 to 2025-11" in " ".join(done.stdout.split())
    assert f"--db {path}" in done.stdout.replace("\n", "")


def test_a_closed_quarter_is_reported_and_frozen_the_open_one_is_not(path) -> None:
    # Records of 6 January: visits after the last days of December are still open.
    assert next_steps(path) == ["dwell report 2025-Q3", "dwell freeze 2025-Q3"]


def test_a_quarter_closes_when_every_follow_up_is_over(db, tmp_path) -> None:
    db.given("episode", QUARTER)
    later = db.save(tmp_path / "dwell.duckdb", as_of="2026-01-23")
    assert next_steps(later)[0] == "dwell report 2025-Q4"


def test_a_frozen_quarter_asks_for_nothing_until_records_come_in(path) -> None:
    with open_store(path, read_only=False) as store:
        freeze(store, "2025-Q3")
    assert next_steps(path) == []
    with open_store(path, read_only=False) as store:
        store.rows(
            "insert into load (load_id, kind, loaded_at, as_of)"
            " values (2, 'load', timestamp '2026-01-07', date '2026-01-06')"
        )
    assert next_steps(path) == ["dwell drift 2025-Q3"]


def test_old_records_ask_for_newer_ones(path) -> None:
    with open_store(path) as store:
        found = store_state(store, dt.date(2026, 8, 1))
    assert found is not None
    assert found.quarters_without_records == ("2026-Q1", "2026-Q2")
    assert "dwell load FOLDER" in next_steps(path, dt.date(2026, 8, 1))


def test_rows_set_aside_come_first(demonstration: Path) -> None:
    assert next_steps(demonstration / "dwell.duckdb")[0] == "dwell rejects"


def test_logged_changes_are_asked_after(db, tmp_path) -> None:
    db.given("episode", QUARTER)
    db.given("change")
    assert "dwell change" in next_steps(db.save(tmp_path / "dwell.duckdb"))


def verdicts(checks) -> dict[str, str]:
    return {check.name: check.verdict for check in checks}


def test_a_sound_store_has_no_fault(demonstration: Path) -> None:
    found = verdicts(checkup.store(demonstration / "dwell.duckdb", is_named=True))
    assert found == dict.fromkeys(["store", "permissions", "disk", "sums", "checks"], "ok")


def test_a_store_that_others_can_read_is_a_fault(path) -> None:
    path.chmod(0o644)
    assert verdicts(checkup.store(path, is_named=True))["permissions"] == "fault"


def test_a_file_that_is_no_store_is_a_fault(tmp_path) -> None:
    (tmp_path / "dwell.duckdb").write_bytes(b"not a store" * 999)
    assert verdicts(checkup.store(tmp_path / "dwell.duckdb", is_named=True))["store"] == "fault"


def test_no_store_is_a_fault_only_where_one_was_named(tmp_path) -> None:
    for is_named, verdict in ((True, "fault"), (False, "note")):
        (only,) = checkup.store(tmp_path / "none.duckdb", is_named=is_named)
        assert only.verdict == verdict
        assert only.try_next is not None


def test_the_installation_holds_together() -> None:
    assert "fault" not in verdicts(checkup.installation()).values()


def test_a_library_that_is_missing_or_too_old_is_a_fault(monkeypatch) -> None:
    monkeypatch.setattr(
        checkup.metadata, "requires", lambda _: ["no-such-library>=1", "click>=9999", "polars>=1"]
    )
    found = {check.name: check for check in checkup.installation()}["libraries"]
    assert found.verdict == "fault"
    assert "no-such-library is missing" in found.says
    assert "click is " in found.says
    assert "polars" not in found.says


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("network = 'N'", "sets network"),
        ("[targets]\nlekage = 1.0", "no measure lekage"),
        ("small_sell = 5", "unknown setting"),
        ("small_cell = ", "not TOML"),
    ],
)
def test_settings_are_read_and_their_targets_are_measures(tmp_path, text: str, said: str) -> None:
    (tmp_path / "dwell.toml").write_text(text, encoding="utf-8")
    check = checkup._settings(tmp_path / "dwell.toml")
    assert check.verdict == ("ok" if "sets" in said else "fault")
    assert said in check.says


def test_the_renderers_make_a_page_and_a_pdf(monkeypatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("QUARTO_PATH", raising=False)
    found = verdicts(checkup.renderers())
    assert found == {"built-in, page": "ok", "built-in, PDF": "ok", "Quarto": "note"}


def test_a_fault_ends_with_exit_code_1_and_json_parses(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(checkup, "renderers", lambda: iter(()))
    words = ["doctor", "--db", str(tmp_path / "none.duckdb")]
    done = CliRunner().invoke(dwell, [*words, "--format", "json"])
    assert getattr(done.exception, "exit_code", None) == 1
    assert {check["area"] for check in json.loads(done.stdout)} >= {"installation", "store"}
    quiet = CliRunner().invoke(dwell, [*words, "--quiet"]).stdout
    assert "fault" in quiet
    assert "ok" not in quiet


@pytest.mark.parametrize(
    ("does", "verdict"),
    [("touch trial.html", "ok"), ("true", "fault"), ("echo 'ERROR: no room' >&2; exit 1", "fault")],
)
def test_the_doctor_lets_quarto_make_a_page(tmp_path, monkeypatch, does, verdict) -> None:
    """A stand-in that answers with a version and then does as told."""
    program = tmp_path / "quarto"
    program.write_text(f'#!/bin/sh\n[ "$1" = --version ] && echo 1.6.39 && exit\n{does}\n')
    program.chmod(0o755)
    monkeypatch.setenv("QUARTO_PATH", str(program))
    assert verdicts(checkup.renderers())["Quarto"] == verdict
