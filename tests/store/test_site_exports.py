# ruff: noqa: E501
"""A site's own export: mapped while loading, drafted, de-identified (all invented)."""

import csv
import json
import tomllib
from pathlib import Path

import pytest

from pipeline.errors import InputError, UsageError
from pipeline.records.drafting import draft_mapping, plain_name
from pipeline.records.folder import find_sources
from pipeline.records.hints import FIELD_WORDS
from pipeline.records.keys import pseudonym, read_key
from pipeline.records.layout import SYMPTOMS
from pipeline.records.mapping_file import load_mapping
from pipeline.store import open_store
from pipeline.store.pseudonymise import pseudonymise_files
from pipeline.store.rejects import export_rejects
from pipeline.store.sampling import sample_columns
from tests.store.small import EPISODE, episode, load, rows, write

MAPPING = """
name = "knot, ward system"

[episode]
file = "catheters*.csv"
decimal = ","
clock = "%d.%m.%Y %H:%M"
missing = ["n/a"]
yes = ["J"]
no = ["N"]
ignore = ["Nurse"]

[episode.columns]
episode_id = "Case"
site = { constant = "knot" }
placed_month = { column = "In", take = "month" }
placed_hour = { column = "In", take = "hour" }
month_order = { column = "In", take = "order" }
age_years = { column = "In", years_since = "Born" }
weight_kg = { column = "Weight", unit = "lb" }
tunnelled = "Tunnel"
surgeon_type = { column = "Team", values = { sports = ["Knee", "Shoulder"], trauma = ["Fx"] } }
nerve_target = { column = "Block", values = { femoral = ["FNB"] } }
planned_dwell_h = { column = "Plan", unit = "d" }
removed_h = { column = "Out", since = "In" }

[contact]
file = "calls.csv"
clock = "%d.%m.%Y %H:%M"

[contact.columns]
contact_id = "Call"
episode_id = "Case"
at_h = { column = "At", since = "episode.In" }
direction = { constant = "service" }
reached = { column = "Spoke", yes = ["1"], no = ["0"] }
topic = { constant = "routine" }
minutes_to_answer = { column = "Wait s", unit = "s" }
"""
HEADER = "Case;In;Born;Weight;Tunnel;Team;Block;Plan;Out;Nurse\r\n"
X1 = "x1;03.04.2025 10:15;05.04.2015;100,5;J;Knee;FNB;3;06.04.2025 09:00;Søren, José\r\n"
X2 = "x2;02.04.2025 23:00;01.01.2015;n/a;n/a;fx;FNB;2,5;n/a;\r\n"
CALLS = "Call|Case|At|Spoke|Wait s\nk1|x1|03.04.2025 20:15|1|90\n"


@pytest.fixture
def export(tmp_path: Path) -> Path:
    files = {
        "mapping.toml": MAPPING,
        "catheters 2025.csv": (HEADER + X1 + X2).encode("latin-1"),
        "calls.csv": CALLS,
    }
    return write(tmp_path / "export", files)


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return tmp_path / "dwell.duckdb"


def loaded(db: Path, export: Path, place: Path | None = None):  # type: ignore[no-untyped-def]
    return load(db, place or export, export / "mapping.toml")


def test_an_export_becomes_records(db: Path, export: Path) -> None:
    result = loaded(db, export)
    assert result.faults == ()
    assert rows(
        db,
        "select episode_id, site, placed_month, month_order, placed_hour, age_years, weight_kg,"
        " tunnelled, surgeon_type, planned_dwell_h, removed_h from episode order by 1",
    ) == [
        ("x1", "knot", "2025-04", 2, 10, 9, 45.586, True, "sports", 72.0, 70.75),
        ("x2", "knot", "2025-04", 1, 23, 10, None, None, "trauma", 60.0, None),
    ]
    assert rows(db, "select at_h, reached, minutes_to_answer from contact") == [(10.0, True, 1.5)]
    assert rows(db, "select mapping_name, mapping_text from load") == [
        ("knot, ward system", MAPPING)
    ]


def test_clock_times_and_ignored_columns_are_nowhere_in_the_store(db: Path, export: Path) -> None:
    bad = "x3;04.04.2025 11:40;05.04.2015;heavy;J;Knee;FNB;3;07.04.2025 12:10;Søren, José\r\n"
    write(export, {"catheters 2025.csv": (HEADER + X1 + bad).encode("latin-1")})
    loaded(db, export)
    stored = db.read_bytes()
    for text in ("04.2025", "04.2015", "José", "ren, J"):
        assert text.encode() not in stored
        assert text.encode("latin-1") not in stored
    ((raw,),) = rows(db, "select raw from set_aside")
    assert "heavy" in raw
    assert '"removed_h":"72.5"' in raw


def test_rejected_rows_go_out_in_the_site_s_layout_and_come_back(
    db: Path, export: Path, tmp_path: Path
) -> None:
    bad = X1.replace("100,5", "heavy").replace("J;", "J;")
    write(export, {"catheters 2025.csv": (HEADER + bad + X2).encode("latin-1")})
    loaded(db, export)
    out = tmp_path / "episode.corrected.csv"
    with open_store(db) as store:
        export_rejects(store, out, record="episode")
    header = out.read_text("utf-8").splitlines()[0].split(",")
    assert {"Case", "Weight", "Team", "removed_h", "month_order"} <= set(header)
    assert not {"In", "Out", "Born", "Nurse"} & set(header)
    out.write_text(out.read_text("utf-8").replace("heavy", '"100,5"'), "utf-8")
    result = loaded(db, export, out)
    assert (result.files[0].new, result.cleared) == (1, 1)
    assert rows(db, "select weight_kg, removed_h, age_years from episode where episode_id = 'x1'") == [
        (45.586, 70.75, 9)
    ]  # fmt: skip


SHIFTED = "x3;04.04.2025 11:40;05.04.2015;90;J;Kn;ee;FNB;3;07.04.2025 12:10;Søren\r\n"
SHORT = "José;x4;04.04.2025 11:40\r\n"


def test_of_a_row_whose_cells_may_have_shifted_none_is_kept(
    db: Path, export: Path, tmp_path: Path
) -> None:
    lines = HEADER + X1 + SHIFTED + SHORT + SHORT
    write(export, {"catheters 2025.csv": lines.encode("latin-1")})
    result = loaded(db, export)
    assert [(fault.rule, fault.rows, fault.first_row) for fault in result.faults] == [
        ("has more or fewer cells than the header (3 in place of 10), which are not kept", 2, 4),
        ("has more or fewer cells than the header (11 in place of 10), which are not kept", 1, 3),
    ]
    for text in ("José", "Søren", "04.2025", "04.2015"):
        assert text.encode() not in db.read_bytes()
    found = rows(db, "select record_key, source_row, raw from set_aside order by source_row")
    assert [row[:2] for row in found] == [(None, 3), (None, 4), (None, 5)]
    assert {value for *_, raw in found for value in json.loads(raw).values()} == {None}
    # One more such row: those that were kept are known again, and the new one is kept too.
    write(export, {"catheters 2025.csv": (lines + SHORT).encode("latin-1")})
    loaded(db, export)
    open_rows = "select source_row from set_aside where cleared_by is null order by 1"
    assert rows(db, open_rows) == [(3,), (4,), (5,), (6,)]
    # Filled in from the site's own file, and sent back by its number, a row is cleared.
    out = tmp_path / "episode.csv"
    with open_store(db) as store:
        export_rejects(store, out)
    header, first, *_ = csv.reader(out.read_text("utf-8").splitlines())
    good = {"Case": "x3", "placed_month": "2025-04", "month_order": "3", "Team": "Knee",
            "Block": "FNB", "Plan": "3", header[0]: first[0]}  # fmt: skip
    out.write_text(f"{','.join(header)}\n{','.join(good.get(n, '') for n in header)}\n", "utf-8")
    again = loaded(db, export, out)
    assert (again.files[0].new, again.cleared) == (1, 1)
    assert rows(db, open_rows) == [(4,), (5,), (6,)]


def test_without_left_out_columns_a_ragged_row_is_kept_whole(db: Path, export: Path) -> None:
    folder = write(export.parent / "plain", {"episode.csv": EPISODE + episode().strip() + ",x\n"})
    load(db, folder)
    assert rows(db, "select record_key, raw like '%avocet%' from set_aside") == [("e1", True)]


def test_a_raw_export_with_a_ragged_row_is_not_de_identified(export: Path, tmp_path: Path) -> None:
    write(export, {"catheters 2025.csv": (HEADER + X1 + SHORT).encode("latin-1")})
    mapping = load_mapping(export / "mapping.toml")
    with pytest.raises(InputError, match="row 3 has more or fewer cells"):
        pseudonymise_files(find_sources(export, mapping), tmp_path / "safe", b"a secret key 1234")
    assert list((tmp_path / "safe").iterdir()) == []


def test_an_unreadable_clock_time_is_told_before_anything_else(db: Path, export: Path) -> None:
    bad = X1.replace("06.04.2025 09:00", "next morning").replace("100,5", "heavy")
    write(export, {"catheters 2025.csv": (HEADER + bad + X2).encode("latin-1")})
    fault = loaded(db, export).faults[0]
    assert (fault.column, fault.first_row) == ("removed_h", 2)
    assert "clock times" in fault.rule


def test_a_changed_mapping_reads_the_same_file_again(db: Path, export: Path) -> None:
    loaded(db, export)
    assert loaded(db, export).load_id is None
    write(export, {"mapping.toml": MAPPING.replace('sports = ["Knee"', 'hand = ["Knee"')})
    assert loaded(db, export).files[0].corrected == 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("[episode]", "[patient]"), "patient.* none of the records"),
        (('file = "calls.csv"', 'fil = "calls.csv"'), "must name the export.s file"),
        (('ignore = ["Nurse"]', 'ignored = ["Nurse"]'), "ignored is unknown"),
        (('ignore = ["Nurse"]', 'ignore = "Nurse"'), "must be a list of texts"),
        (('decimal = ","', "decimal = 1"), "decimal must be a text"),
        (('episode_id = "Case"\nsite', 'episode_no = "Case"\nsite'), "episode_no is not in the layout"),
        (('sports = ["Knee"', 'knees = ["Knee"'), "knees is not a code"),
        (('unit = "lb"', 'unit = "stone"'), "`unit` stone is not known"),
        (('take = "hour"', 'take = "order"'), "`take` is"),
        (('{ constant = "knot" }', "{ }"), "either `column` or `constant`"),
        (('site = { constant', 'site = { colum = "x", constant'), "`colum` is unknown"),
        (('ignore = ["Nurse"]', 'ignore = ["Nurse", "Case"]'), "Case is ignored too"),
        (('weight_kg = { column = "Weight", unit', 'weight_kg = { column = "Weight", since'), "`since` does not fit"),
        (('weight_kg = { column = "Weight"', 'weight_kg = { column = "Mass"'), "column Mass is missing"),
        (('ignore = ["Nurse"]', "ignore = []"), "column Nurse is not in the layout"),
        (("[contact]", "[contact"), "is not TOML"),
        (('file = "calls.csv"', 'file = "phone.csv"'), "calls.csv is none of the records"),
    ],
)  # fmt: skip
def test_a_mapping_that_does_not_fit_says_where(
    db: Path, export: Path, change: tuple[str, str], message: str
) -> None:
    assert change[0] in MAPPING
    write(export, {"mapping.toml": MAPPING.replace(*change, 1)})
    with pytest.raises(InputError, match=message):
        loaded(db, export)


def test_a_workbook_is_read_by_its_sheet(db: Path, export: Path, tmp_path: Path) -> None:
    import datetime as dt

    import openpyxl

    book = openpyxl.Workbook()
    book.active.title = "Notes"
    sheet = book.create_sheet("List")
    sheet.append(HEADER.strip().split(";"))
    sheet.append(["x1", dt.datetime(2025, 4, 3, 10, 15), dt.date(2015, 4, 5), 100.5, "J", "Knee",
                  "FNB", 3, dt.datetime(2025, 4, 6, 9), None])  # fmt: skip
    folder = write(tmp_path / "book", {"calls.csv": CALLS})
    book.save(folder / "catheters.xlsx")
    text = MAPPING.replace("catheters*.csv", "catheters.xlsx").replace(
        'decimal = ","', 'sheet = "List"'
    )
    write(folder, {"mapping.toml": text})
    assert loaded(db, folder).faults == ()
    assert rows(db, "select weight_kg, removed_h, age_years from episode") == [(45.586, 70.75, 9)]
    write(folder, {"mapping.toml": text.replace('sheet = "List"', 'sheet = "Lists"')})
    with pytest.raises(InputError, match="no sheet Lists"):
        loaded(db, folder)


def test_a_draft_finds_what_can_be_found_and_names_the_rest(export: Path) -> None:
    result = draft_mapping("catheters 2025.csv", sample_columns(export / "catheters 2025.csv"))
    table = tomllib.loads(result.text)["episode"]
    assert result.record == "episode"
    assert table["clock"] == "%d.%m.%Y %H:%M"
    assert table["decimal"] == ","
    assert table["columns"]["weight_kg"] == "Weight"
    assert table["columns"]["removed_h"] == {"column": "Out", "since": "In"}
    assert table["columns"]["surgeon_type"]["values"]["sports"] == ["Knee"]
    assert table["columns"]["tunnelled"]["yes"] == ["J"]
    assert "Nurse" in result.unmatched
    assert "site" in result.without_source


def test_no_symptom_is_read_as_another_and_what_is_not_placed_is_listed(tmp_path: Path) -> None:
    header = ["Call", "Case", "Drowsy", "Hearing", "Vomiting", "Stitching", "Dizzy", "Heart racing"]
    path = write(tmp_path, {"calls.csv": ",".join(header) + "\nk1,x1,y,n,n,n,y,n\n"}) / "calls.csv"
    result = draft_mapping("calls.csv", sample_columns(path), "contact")
    columns = tomllib.loads(result.text)["contact"]["columns"]
    placed = {name: spec["column"] for name, spec in columns.items() if name in SYMPTOMS}
    assert placed == {"drowsy": "Drowsy", "dizziness": "Dizzy", "palpitations": "Heart racing"}
    assert {"Hearing", "Vomiting", "Stitching"} <= set(result.unmatched)


@pytest.mark.parametrize("name", SYMPTOMS)
def test_a_word_for_a_symptom_is_no_word_for_another(name: str) -> None:
    words = {plain_name(name), *FIELD_WORDS[name]}
    others = [{plain_name(other), *FIELD_WORDS[other]} for other in SYMPTOMS if other != name]
    assert not words & set.union(*others)


def test_a_drafted_mapping_can_be_read(export: Path, tmp_path: Path) -> None:
    result = draft_mapping("calls.csv", sample_columns(export / "calls.csv"), "contact")
    path = tmp_path / "drafted.toml"
    path.write_text(result.text, "utf-8")
    assert "contact" in load_mapping(path).records


def test_a_raw_export_is_de_identified_alike_every_time(export: Path, tmp_path: Path) -> None:
    mapping = load_mapping(export / "mapping.toml")
    key = b"a secret of the site's own"
    made = pseudonymise_files(find_sources(export, mapping), tmp_path / "safe", key)
    again = pseudonymise_files(find_sources(export, mapping), tmp_path / "again", key)
    other = pseudonymise_files(
        find_sources(export, mapping), tmp_path / "other", b"another secret key"
    )
    (episode,) = [m.path for m in made if m.path.name == "episode.csv"]
    first, second = csv.DictReader(episode.read_text("utf-8").splitlines())
    assert first["episode_id"] == pseudonym(key, "episode_id", "x1")
    assert (first["age_years"], first["removed_h"], first["weight_kg"]) == ("9", "70.75", "45.586")
    assert second["weight_kg"] == ""
    for a, b, c in zip(made, again, other, strict=True):
        assert a.path.read_bytes() == b.path.read_bytes() != c.path.read_bytes()
        text = a.path.read_text("utf-8")
        assert not any(part in text for part in ("x1", "2025-04-0", "04.2025", "Jos"))
    dropped = {name for m in made for name in m.dropped}
    assert {"Nurse", "In", "Out", "Born", "At"} <= dropped
    (contact,) = [m.path for m in made if m.path.name == "contact.csv"]
    (call,) = csv.DictReader(contact.read_text("utf-8").splitlines())
    assert call["episode_id"] == first["episode_id"]
    assert episode.stat().st_mode & 0o777 == 0o600


def test_values_that_cannot_be_read_are_left_empty_and_counted(
    export: Path, tmp_path: Path
) -> None:
    bad = X1.replace("Knee", "Mrs Heron's team").replace("06.04.2025 09:00", "later")
    write(export, {"catheters 2025.csv": (HEADER + bad + X2).encode("latin-1")})
    mapping = load_mapping(export / "mapping.toml")
    made = pseudonymise_files(
        find_sources(export, mapping), tmp_path / "safe", b"a secret key 1234"
    )
    (episode,) = [m for m in made if m.path.name == "episode.csv"]
    assert episode.left_empty == {"surgeon_type": 1, "removed_h": 1}
    assert "Heron" not in episode.path.read_text("utf-8")


def test_a_key_must_be_there_and_long_enough(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("DWELL_KEY", raising=False)
    with pytest.raises(UsageError, match="at least 16"):
        read_key(None)
    monkeypatch.setenv("DWELL_KEY", "0123456789abcdef")
    assert read_key(None) == b"0123456789abcdef"
    (tmp_path / "short").write_text("short")
    with pytest.raises(UsageError, match="at least 16"):
        read_key(tmp_path / "short")
    with pytest.raises(UsageError, match="cannot be read"):
        read_key(tmp_path / "none")
