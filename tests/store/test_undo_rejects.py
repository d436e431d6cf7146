"""Loads taken back, versions kept, rows set aside exported, corrected and cleared."""

import csv
import json
from pathlib import Path

import pytest

from pipeline.errors import NoDataError, UsageError
from pipeline.store import open_store
from pipeline.store.history import versions_of
from pipeline.store.rejects import export_rejects, rows_set_aside
from pipeline.store.undo import undo_load
from tests.store.small import CONTACT, EPISODE, contact, episode, load, rows, write


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return tmp_path / "dwell.duckdb"


def episodes(*lines: str) -> dict[str, str]:
    return {"episode.csv": EPISODE + "".join(lines)}


def test_a_load_taken_back_brings_the_version_before_it_back(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1))))
    load(db, write(tmp_path / "b", episodes(episode("e1", 1, age_years=12), episode("e2", 2))))
    result = undo_load(db, 2)
    assert (result.taken_out["episode"], result.brought_back["episode"]) == (2, 1)
    assert rows(db, "select episode_id, age_years, load_id from episode") == [("e1", 9, 1)]
    assert rows(db, "select episode_id, age_years, replaced_by from episode_version") == [
        ("e1", 12, 3),
        ("e2", 9, 3),
    ]


def test_a_load_in_the_middle_is_skipped_when_a_later_one_goes_too(
    db: Path, tmp_path: Path
) -> None:
    for name, age in (("a", 1), ("b", 2), ("c", 3)):
        load(db, write(tmp_path / name, episodes(episode("e1", 1, age_years=age))))
    undo_load(db, 2)
    assert rows(db, "select age_years from episode") == [(3,)]
    undo_load(db, 3)
    assert rows(db, "select age_years from episode") == [(1,)]


def test_what_was_taken_back_can_be_loaded_again(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1))))
    second = write(tmp_path / "b", episodes(episode("e1", 1, age_years=12), episode("e2", 2)))
    load(db, second)
    undo_load(db, 2)
    result = load(db, second)
    assert (result.files[0].new, result.files[0].corrected) == (1, 1)
    assert rows(db, "select episode_id, age_years from episode order by 1") == [
        ("e1", 12),
        ("e2", 9),
    ]


def test_a_file_whose_rows_came_with_an_undone_load_comes_again(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1))))
    load(db, write(tmp_path / "b", episodes(episode("e2", 2))))
    same = write(tmp_path / "c", episodes(episode("e1", 1), episode("e3", 3)))
    load(db, same)  # e1 is unchanged: it came with load 1
    undo_load(db, 1)
    assert load(db, same).files[0].new == 1
    assert rows(db, "select episode_id from episode order by 1") == [("e1",), ("e2",), ("e3",)]


def test_a_load_on_which_another_rests_stays(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1))))
    load(db, write(tmp_path / "b", {"contact.csv": CONTACT + contact()}))
    with pytest.raises(UsageError, match="Load 2 rests on load 1"):
        undo_load(db, 1)
    assert rows(db, "select count(*), max(undone_by) from load") == [(2, None)]
    undo_load(db, 2)
    undo_load(db, 1)
    assert rows(db, "select count(*) from episode") == [(0,)]


@pytest.mark.parametrize("load_id", [0, 2, 99])
def test_only_a_standing_load_can_be_taken_back(db: Path, tmp_path: Path, load_id: int) -> None:
    load(db, write(tmp_path / "a", episodes(episode())))
    undo_load(db, 1)
    with pytest.raises(UsageError):
        undo_load(db, load_id)
    with pytest.raises(UsageError, match="taken back already"):
        undo_load(db, 1)


def test_history_tells_each_change_of_an_episode(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1, removed_h="", removal_reason=""))))
    load(db, write(tmp_path / "b", episodes(episode("e1", 1))))
    load(db, write(tmp_path / "c", {"contact.csv": CONTACT + contact()}))
    with open_store(db) as store:
        found = versions_of(store, "e1").to_dicts()
        assert versions_of(store, "e99").is_empty()
    changes = [(r["record"], r["state"], r["column"], r["before"], r["after"]) for r in found]
    assert changes == [
        ("episode", "replaced", None, None, None),
        ("episode", "current", "removed_h", None, "70.5"),
        ("episode", "current", "removal_reason", None, "completed"),
        ("contact", "current", None, None, None),
    ]
    assert found[1]["file"] == "episode.csv"
    assert found[1]["row"] == 2


def test_a_rejected_row_is_kept_whole(db: Path, tmp_path: Path) -> None:
    line = episode("e1", 1, weight_kg="heavy")
    load(db, write(tmp_path / "a", episodes(line)))
    ((raw,),) = rows(db, "select raw from set_aside")
    assert [*json.loads(raw)] == EPISODE.strip().split(",")
    assert [*json.loads(raw).values()] == line.strip().split(",")


def test_rejects_go_out_are_corrected_and_cleared(db: Path, tmp_path: Path) -> None:
    bad = episode("e1", 1, weight_kg="heavy"), episode("e2", 2, planned_dwell_h=1)
    load(db, write(tmp_path / "a", episodes(*bad, episode("e3", 3))))
    out = tmp_path / "episode.corrected.csv"
    with open_store(db) as store:
        assert rows_set_aside(store)["column"].to_list() == ["weight_kg", "planned_dwell_h"]
        assert export_rejects(store, out) == 2
    assert out.stat().st_mode & 0o777 == 0o600
    out.write_text(out.read_text().replace("heavy", "30"))
    result = load(db, out)
    assert (result.files[0].new, result.files[0].set_aside, result.cleared) == (1, 1, 1)
    with open_store(db) as store:
        assert rows_set_aside(store)["column"].to_list() == ["planned_dwell_h"]
    undo_load(db, 2)
    with open_store(db) as store:
        assert rows_set_aside(store)["column"].to_list() == ["weight_kg", "planned_dwell_h"]


def test_a_row_is_cleared_by_its_key_too(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1, weight_kg="heavy"))))
    result = load(db, write(tmp_path / "b", episodes(episode("e1", 1))))
    assert result.cleared == 1


def test_a_row_with_another_fault_takes_the_place_of_the_first(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1, weight_kg="heavy"))))
    load(db, write(tmp_path / "b", episodes(episode("e1", 1, age_years=99))))
    with open_store(db) as store:
        assert rows_set_aside(store)["column"].to_list() == ["age_years"]


def test_a_questioned_row_waits_for_a_yes(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", episodes(episode("e1", 1, removed_h=400))))
    out = tmp_path / "episode.again.csv"
    with open_store(db) as store:
        assert rows_set_aside(store)["questioned"].to_list() == [True]
        export_rejects(store, out)
    with out.open() as file:
        (row,) = csv.DictReader(file)
    for answer, new in (("no", 0), ("yes", 1)):
        with out.open("w", newline="") as file:
            writer = csv.DictWriter(file, row)
            writer.writeheader()
            writer.writerow({**row, "confirmed": answer})
        assert load(db, out).files[0].new == new
    assert rows(db, "select removed_h from episode") == [(400.0,)]


def test_rows_of_several_layouts_are_exported_one_at_a_time(db: Path, tmp_path: Path) -> None:
    files = episodes(episode("e1", 1, weight_kg="heavy"), episode("e2", 2))
    load(db, write(tmp_path / "a", {**files, "contact.csv": CONTACT + contact("c1", "e9")}))
    out = tmp_path / "out.csv"
    with open_store(db) as store:
        with pytest.raises(UsageError, match=r"contact\.csv"):
            export_rejects(store, out)
        assert export_rejects(store, out, record="contact") == 1
        assert export_rejects(store, out, file="episode.csv") == 1
        with pytest.raises(NoDataError):
            export_rejects(store, out, file="nothing.csv")


def test_a_ragged_row_goes_out_as_it_came(db: Path, tmp_path: Path) -> None:
    short = episode("e1", 1).replace(",completed", "")
    load(db, write(tmp_path / "a", episodes(short, episode("e2", 2))))
    with open_store(db) as store:
        (row,) = rows_set_aside(store).to_dicts()
    assert (row["row"], row["column"]) == (2, None)
    assert "cells" in row["rule"]
