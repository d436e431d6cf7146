"""`dwell extract`: re-keyed, described, with its provenance and the check of likeness."""

import json
import stat

import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.disclosure.anonymity import anonymity
from pipeline.errors import InputError, NoDataError, RenderError, UsageError


@pytest.fixture
def store_file(db, tmp_path):
    rows = "\n".join(
        f"e{i} | p{i // 2} | {'avocet' if i < 18 else 'dunlin'} | 2025-0{1 + i % 3} | 10 | 72"
        for i in range(20)
    )
    db.given(
        "episode", f"episode_id | patient_key | site | placed_month | age_years | removed_h\n{rows}"
    )
    return db.save(tmp_path / "dwell.duckdb")


def run(store_file, *words):
    done = CliRunner().invoke(dwell, ["extract", *words, "--db", str(store_file)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done


def test_a_study_has_keys_of_its_own_and_children_stay_linked(store_file, tmp_path):
    run(store_file, "glue", "--out", str(tmp_path / "glue"))
    frame = pl.read_parquet(tmp_path / "glue" / "glue.parquet")
    assert frame.columns[:2] == ["study_id", "study_child"]
    assert not {"episode_id", "patient_key", "child_key", "month_order"} & set(frame.columns)
    assert (frame["study_id"].n_unique(), frame["study_child"].n_unique()) == (20, 10)
    assert not set(frame["study_id"]) & {f"e{i}" for i in range(20)}
    assert frame["study_id"].is_sorted()


def test_no_key_of_the_store_is_in_any_file_of_the_extract(store_file, tmp_path):
    run(store_file, "glue", "--out", str(tmp_path / "glue"), "--format", "csv")
    for path in (tmp_path / "glue").iterdir():
        cells = path.read_text(encoding="utf-8").replace("\n", ",").split(",")
        assert not set(cells) & {f"e{i}" for i in range(20)} | set(cells) & {
            f"p{i}" for i in range(10)
        }
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_without_a_key_two_extracts_cannot_be_matched(store_file, tmp_path):
    ids = []
    for name in ("a", "b"):
        run(store_file, "glue", "--out", str(tmp_path / name))
        ids.append(set(pl.read_parquet(tmp_path / name / "glue.parquet")["study_id"]))
    assert not ids[0] & ids[1]


def test_with_its_key_a_study_can_be_extracted_again(store_file, tmp_path):
    key = tmp_path / "glue.key"
    for name in ("a", "b"):
        run(store_file, "glue", "--out", str(tmp_path / name), "--key-file", str(key))
    first, second = (pl.read_parquet(tmp_path / n / "glue.parquet") for n in ("a", "b"))
    assert first.equals(second)
    assert stat.S_IMODE(key.stat().st_mode) == 0o600


def test_the_key_must_not_lie_in_the_extract(store_file, tmp_path):
    out = tmp_path / "a"
    with pytest.raises(UsageError, match="apart from the extract"):
        run(store_file, "glue", "--out", str(out), "--key-file", str(out / "key"))
    assert not out.exists()


def test_provenance_says_where_the_rows_come_from(store_file, tmp_path):
    run(
        store_file, "glue", "--out", str(tmp_path / "a"), "--column", "site", "--column", "dwell_h",
        "--site", "avocet", "--from", "2025-01", "--to", "2025-02",
    )  # fmt: skip
    found = json.loads((tmp_path / "a" / "provenance.json").read_text(encoding="utf-8"))
    assert found["columns"] == ["study_id", "study_child", "site", "dwell_h"]
    assert (found["sites"], found["first_month"], found["rows"]) == (["avocet"], "2025-01", 12)
    assert found["records_as_of"] == "2026-01-06"
    assert len(found["sha256"]) == 64
    assert "privacy officer" in found["caution"]


def test_the_dictionary_describes_the_columns_that_are_there(store_file, tmp_path):
    run(store_file, "glue", "--out", str(tmp_path / "a"), "--column", "dwell_h")
    text = (tmp_path / "a" / "dictionary.md").read_text(encoding="utf-8")
    assert text.count("\n| ") == 4
    assert "| dwell_h | double | Time in place" in text
    assert "Codes of" not in text


def test_the_dictionary_gives_the_codes_with_their_meaning(store_file, tmp_path):
    run(store_file, "glue", "--out", str(tmp_path / "a"), "--column", "limb", "--column", "reason")
    text = (tmp_path / "a" / "dictionary.md").read_text(encoding="utf-8")
    assert "Codes of reason:" in text
    assert "\n- dislodged: " in text


def test_records_that_too_few_children_are_like_are_reported(store_file, tmp_path):
    # Dunlin has two catheters of one child.
    done = run(store_file, "glue", "--out", str(tmp_path / "a"), "--column", "site")
    assert "2 of 20 records are like those of fewer than 5 children" in done.stderr
    found = json.loads((tmp_path / "a" / "provenance.json").read_text(encoding="utf-8"))
    assert found["anonymity"] == {
        "quasi_identifiers": ["site"], "k": 5, "smallest": 1,
        "groups": 2, "small_groups": 1, "small_rows": 2,
    }  # fmt: skip


def test_they_can_be_left_out(store_file, tmp_path):
    done = run(store_file, "glue", "--out", str(tmp_path / "a"), "--column", "site", "--drop-small")
    assert "every record is like those of at least 5 children" in done.stderr
    assert pl.read_parquet(tmp_path / "a" / "glue.parquet").height == 18


def test_nothing_is_written_where_nothing_would_be_left(store_file, tmp_path):
    with pytest.raises(NoDataError, match="fewer than 5 children"):
        run(
            store_file, "glue", "--out", str(tmp_path / "a"), "--site", "dunlin",
            "--column", "site", "--drop-small",
        )  # fmt: skip
    assert not (tmp_path / "a").exists()


@pytest.mark.parametrize("column", ["episode_id", "patient_key", "child_key", "month_order"])
def test_keys_of_the_store_cannot_be_chosen(store_file, tmp_path, column):
    with pytest.raises(UsageError, match="never leaves the store"):
        run(store_file, "glue", "--out", str(tmp_path / "a"), "--column", column)


@pytest.mark.parametrize("study", ["../x", "a b", ".hidden", "", "x" * 65])
def test_a_study_name_is_a_plain_word(store_file, tmp_path, study):
    with pytest.raises(UsageError):
        run(store_file, study, "--out", str(tmp_path / "a"))


def test_a_folder_that_holds_something_is_left_alone(store_file, tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(RenderError, match="not empty"):
        run(store_file, "glue", "--out", str(tmp_path / "a"))
    assert [path.name for path in (tmp_path / "a").iterdir()] == ["mine.txt"]


def test_a_part_of_an_extract_is_not_left(store_file, tmp_path, monkeypatch):
    def full(*args: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipeline.cli.extract._dictionary", full)
    with pytest.raises(RenderError, match="No space left"):
        run(store_file, "glue", "--out", str(tmp_path / "a"))
    assert [path.name for path in tmp_path.iterdir()] == ["dwell.duckdb"]


@pytest.mark.parametrize(
    ("words", "kind", "offered"),
    [
        (["--column", "dwel_h"], UsageError, "dwell_h"),
        (["--site", "curlew"], NoDataError, "one of avocet, dunlin"),
    ],
)
def test_what_does_not_exist_is_answered_with_what_does(store_file, tmp_path, words, kind, offered):
    with pytest.raises(kind) as raised:
        run(store_file, "glue", "--out", str(tmp_path / "a"), *words)
    assert raised.value.try_next == offered


def test_a_file_that_is_no_key_is_refused(store_file, tmp_path):
    (tmp_path / "key").write_text("abc\n", encoding="utf-8")
    with pytest.raises(InputError, match="key"):
        run(store_file, "glue", "--out", str(tmp_path / "a"), "--key-file", str(tmp_path / "key"))


def test_the_columns_can_be_listed_without_a_store(tmp_path):
    done = run(tmp_path / "none.duckdb", "--list")
    assert "dwell_h" in done.stdout
    assert "episode_id" not in done.stdout


def test_anonymity_counts_children_and_not_records():
    frame = pl.DataFrame({"site": ["a", "a", "a", "b"], "study_child": ["1", "1", "2", "3"]})
    found = anonymity(frame, "study_child", 2)
    assert (found.smallest, found.groups, found.small_groups, found.small_rows) == (1, 2, 1, 1)
    assert not found.holds
    assert anonymity(frame.drop("site"), "study_child", 3).holds
