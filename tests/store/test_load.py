"""What a load does with every row that comes in."""

import datetime as dt
import stat
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import InputError, StoreError, UsageError
from pipeline.store import open_store
from pipeline.store.load import LoadResult
from tests.store.small import CONTACT, EPISODE, SITE, contact, contents, episode, load, rows, write


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return tmp_path / "dwell.duckdb"


def one(result: LoadResult, record: str) -> tuple[int, int, int, int, int]:
    (file,) = [file for file in result.files if file.record == record]
    assert file.balances()
    return file.rows_in, file.new, file.corrected, file.unchanged, file.set_aside


def test_every_row_is_loaded_or_set_aside(db: Path, tmp_path: Path) -> None:
    lines = episode("e1", 1) + episode("e2", 2, age_years="x") + episode("e3", 3)
    result = load(db, write(tmp_path / "in", {"episode.csv": EPISODE + lines}))
    assert one(result, "episode") == (3, 2, 0, 0, 1)
    (fault,) = result.faults
    assert (fault.file_name, fault.column, fault.first_row) == ("episode.csv", "age_years", 3)
    assert fault.rule == "must be a whole number"


def test_values_are_stored_by_type_with_their_origin(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode(patient_key="")}))
    (row,) = rows(
        db,
        "select patient_key, placed_month, age_years, weight_kg, load_id, source_row, discharged_h"
        " from episode",
    )
    assert row == (None, "2025-04", 9, 31.5, 1, 2, None)


def test_the_store_file_is_its_owners_alone(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode()}), make=True)
    assert stat.S_IMODE(db.stat().st_mode) == 0o600
    db.chmod(0o644)
    load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode(age_years=10)}))
    assert stat.S_IMODE(db.stat().st_mode) == 0o600


def test_the_same_folder_twice_changes_nothing(db: Path, tmp_path: Path) -> None:
    lines = {
        "episode.csv": EPISODE + episode("e1", 1) + episode("e2", 2, surgeon_type="robot"),
        "contact.csv": CONTACT + contact() + contact("c2", "e2"),
    }
    folder = write(tmp_path / "in", lines)
    load(db, folder)
    before = contents(db)
    again = load(db, folder)
    assert again.load_id is None
    assert one(again, "episode") == (2, 0, 0, 1, 1)
    assert one(again, "contact") == (2, 0, 0, 1, 1)
    assert contents(db) == before


def test_the_same_rows_in_another_file_are_unchanged(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode("e1", 1)}))
    lines = EPISODE + episode("e2", 2) + episode("e1", 1)
    result = load(db, write(tmp_path / "in", {"episode.csv": lines}))
    assert one(result, "episode") == (2, 1, 0, 1, 0)


def test_a_later_file_corrects_and_the_version_stays(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode()}))
    result = load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode(age_years=12)}))
    assert one(result, "episode") == (1, 0, 1, 0, 0)
    assert rows(db, "select age_years, load_id from episode") == [(12, 2)]
    assert rows(db, "select age_years, load_id, replaced_by from episode_version") == [(9, 1, 2)]


def test_an_old_file_does_not_undo_a_correction(db: Path, tmp_path: Path) -> None:
    old = write(tmp_path / "old", {"episode.csv": EPISODE + episode()})
    load(db, old)
    load(db, write(tmp_path / "new", {"episode.csv": EPISODE + episode(age_years=12)}))
    assert load(db, old).load_id is None
    assert rows(db, "select age_years from episode") == [(12,)]


def test_a_contact_waits_for_its_episode(db: Path, tmp_path: Path) -> None:
    first = {"episode.csv": EPISODE + episode(), "contact.csv": CONTACT + contact("c1", "e2")}
    folder = write(tmp_path / "in", first)
    load(db, folder)
    assert rows(db, "select count(*) from contact") == [(0,)]
    load(db, write(tmp_path / "late", {"episode.csv": EPISODE + episode("e2", 2)}))
    result = load(db, folder)
    assert one(result, "contact") == (1, 1, 0, 0, 0)
    assert result.cleared == 1
    assert rows(db, "select count(*) from set_aside where cleared_by is null") == [(0,)]


def test_repeated_keys_are_all_set_aside(db: Path, tmp_path: Path) -> None:
    lines = episode("e1", 1) + episode("e1", 2, age_years=3) + episode("e2", 3)
    result = load(db, write(tmp_path / "in", {"episode.csv": EPISODE + lines}))
    assert one(result, "episode") == (3, 1, 0, 0, 2)


def test_places_in_a_month_can_be_swapped_but_not_shared(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", {"episode.csv": EPISODE + episode("e1", 1) + episode("e2", 2)}))
    swapped = write(tmp_path / "b", {"episode.csv": EPISODE + episode("e1", 2) + episode("e2", 1)})
    assert one(load(db, swapped), "episode") == (2, 0, 2, 0, 0)
    shared = write(tmp_path / "c", {"episode.csv": EPISODE + episode("e3", 2) + episode("e4", 3)})
    assert one(load(db, shared), "episode") == (2, 1, 0, 0, 1)


def test_a_row_set_aside_keeps_its_stored_place(db: Path, tmp_path: Path) -> None:
    # e1 would move to 3 but shares it with e5, so it stays at 1 and e2 cannot have that.
    load(db, write(tmp_path / "a", {"episode.csv": EPISODE + episode("e1", 1) + episode("e2", 2)}))
    moves = episode("e2", 1) + episode("e1", 3) + episode("e5", 3)
    result = load(db, write(tmp_path / "b", {"episode.csv": EPISODE + moves}))
    assert one(result, "episode") == (3, 0, 0, 0, 3)
    assert rows(db, "select episode_id, month_order from episode order by 1") == [
        ("e1", 1),
        ("e2", 2),
    ]


def test_sites_are_labelled_by_their_code_until_a_table_comes(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "a", {"episode.csv": EPISODE + episode()}))
    assert rows(db, "select site, label from site") == [("avocet", "avocet")]
    table = {"site.csv": SITE + "avocet,Avocet,2024-01\n"}
    load(db, write(tmp_path / "b", table))
    assert rows(db, "select site, label from site") == [("avocet", "Avocet")]
    other = write(tmp_path / "c", {"episode.csv": EPISODE + episode("e2", 2, site="bittern")})
    assert one(load(db, other), "episode") == (1, 0, 0, 0, 1)


def test_a_failed_first_load_leaves_no_store(db: Path, tmp_path: Path) -> None:
    folder = write(tmp_path / "in", {"episode.csv": "episode_id,shoe_size\ne1,4\n"})
    with pytest.raises(InputError, match="shoe_size"):
        load(db, folder, make=True)
    assert list(db.parent.glob("dwell.duckdb*")) == []


def test_contacts_alone_need_a_store_with_episodes(db: Path, tmp_path: Path) -> None:
    folder = write(tmp_path / "in", {"contact.csv": CONTACT + contact()})
    with pytest.raises(InputError, match="no episode"):
        load(db, folder)
    load(db, write(tmp_path / "e", {"episode.csv": EPISODE + episode()}))
    assert one(load(db, folder), "contact") == (1, 1, 0, 0, 0)


def test_parquet_is_read_by_its_types(db: Path, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    pl.DataFrame(
        {
            "episode_id": ["e1", "e2"],
            "site": pl.Series(["avocet", "avocet"], dtype=pl.Categorical),
            "placed_month": ["2025-04", "2025-04"],
            "month_order": pl.Series([1, 2], dtype=pl.Int8),
            "weight_kg": pl.Series([31.5, None], dtype=pl.Float32),
            "tunnelled": [True, None],
            "surgeon_type": ["sports", "sports"],
            "nerve_target": ["femoral", "femoral"],
            "planned_dwell_h": [72, 300],
            "removed_h": [None, None],
        }
    ).write_parquet(folder / "episode.parquet")
    result = load(db, folder)
    assert one(result, "episode") == (2, 1, 0, 0, 1)
    assert result.faults[0].first_row == 2
    assert result.faults[0].rule == "must lie between 12 and 168 hours"
    assert rows(db, "select tunnelled, weight_kg, month_order from episode") == [(True, 31.5, 1)]


def test_the_day_of_extraction_can_move_alone(db: Path, tmp_path: Path) -> None:
    folder = write(tmp_path / "in", {"episode.csv": EPISODE + episode()})
    load(db, folder)
    later = dt.date(2026, 2, 1)
    assert load(db, folder, as_of=later).load_id == 2
    with open_store(db) as store:
        assert store.as_of() == later


def test_months_after_the_extraction_are_set_aside(db: Path, tmp_path: Path) -> None:
    lines = EPISODE + episode(placed_month="2026-02")
    result = load(db, write(tmp_path / "in", {"episode.csv": lines}))
    assert [fault.column for fault in result.faults] == ["placed_month"]


def test_progress_adds_up_to_the_size_of_the_files(db: Path, tmp_path: Path) -> None:
    folder = write(
        tmp_path / "in",
        {"episode.csv": EPISODE + episode(), "contact.csv": CONTACT + contact()},
    )
    told: list[int] = []
    load(db, folder, progress=lambda _what, done: told.append(done))
    assert sum(told) == sum(path.stat().st_size for path in folder.iterdir())


def test_the_fingerprint_is_of_the_records_not_of_the_loads(tmp_path: Path) -> None:
    e1, e2 = episode("e1", 1), episode("e2", 2)
    both = write(tmp_path / "both", {"episode.csv": EPISODE + e1 + e2})
    load(tmp_path / "a.duckdb", both)
    load(tmp_path / "b.duckdb", write(tmp_path / "second", {"episode.csv": EPISODE + e2}))
    load(tmp_path / "b.duckdb", write(tmp_path / "first", {"episode.csv": EPISODE + e1}))
    found = []
    for name in ("a.duckdb", "b.duckdb"):
        with open_store(tmp_path / name) as store:
            found.append(store.fingerprint())
    assert found[0] == found[1]
    changed = episode("e2", 2, age_years=8)
    load(tmp_path / "b.duckdb", write(tmp_path / "third", {"episode.csv": EPISODE + changed}))
    with open_store(tmp_path / "b.duckdb") as store:
        assert store.fingerprint() != found[0]


def test_a_query_that_fails_quotes_no_record(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode("zqxwvk")}))
    with open_store(db) as store, pytest.raises((StoreError, UsageError)) as caught:
        store.rows("select episode_id::integer from episode")
    assert "zqxwvk" not in str(caught.value)


def test_a_read_only_session_can_write_nothing(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "in", {"episode.csv": EPISODE + episode()}))
    with open_store(db) as store:
        for sql in (
            "delete from episode",
            f"copy episode to '{tmp_path / 'out.csv'}'",
            f"from read_csv('{tmp_path / 'in' / 'episode.csv'}')",
            "set enable_external_access = true",
        ):
            with pytest.raises(StoreError):
                store.rows(sql)
    assert not (tmp_path / "out.csv").exists()
