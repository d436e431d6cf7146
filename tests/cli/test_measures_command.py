"""`dwell measures`: shapes that scripts rely on."""

import json

import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.errors import NoDataError, UsageError
from pipeline.measures.catalogue import load_catalogue

SHAPE = [
    "numerator",
    "denominator",
    "episodes",
    "ascertained",
    "rate",
    "lower",
    "upper",
    "unit",
    "provisional",
]


@pytest.fixture
def store_file(db, tmp_path):
    rows = "\n".join(
        f"e{i} | {'avocet' if i < 30 else 'dunlin'} | 2025-0{1 + i % 3} | 72 |"
        f" {'dislodged' if i < 15 or i > 56 else 'completed'}"
        for i in range(60)
    )
    db.given("episode", "episode_id | site | placed_month | removed_h | removal_reason\n" + rows)
    return db.save(tmp_path / "dwell.duckdb")


def run(store_file, *words):
    done = CliRunner().invoke(dwell, ["measures", *words, "--db", str(store_file)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done


def rows(store_file, *words):
    return json.loads(run(store_file, *words, "--format", "json").stdout)


def test_json_has_the_shape_that_scripts_rely_on(store_file):
    found = rows(store_file, "dislodgement", "--by", "site")
    assert [list(row) for row in found] == [["measure", "site", *SHAPE]] * 2
    assert found[0] == {
        "measure": "dislodgement", "site": "avocet",
        "numerator": 15, "denominator": 30.0, "episodes": 30, "ascertained": 30,
        "rate": 50.0, "lower": pytest.approx(33.15, abs=0.01),
        "upper": pytest.approx(66.85, abs=0.01),
        "unit": "per 100 catheters", "provisional": False,
    }  # fmt: skip


def test_what_stands_beside_a_measure_is_printed_or_said_to_be_nothing(store_file):
    assert "per 100 contacts" in run(store_file, "toxicity_symptoms", "--beside").stdout
    assert run(store_file, "dislodgement", "--beside").stdout == (
        "Nothing stands beside dislodgement.\n"
    )
    assert rows(store_file, "dislodgement", "--beside") == []


def test_by_may_repeat_and_month_is_the_default(store_file):
    both = rows(store_file, "dislodgement", "--by", "quarter", "--by", "surgeon_type")
    assert list(both[0])[:3] == ["measure", "quarter", "surgeon_type"]
    assert [row["month"] for row in rows(store_file, "dislodgement")] == [
        "2025-01", "2025-02", "2025-03"
    ]  # fmt: skip


def test_all_gives_one_row_a_measure(store_file):
    found = rows(store_file, "dislodgement", "leakage", "--by", "all")
    assert [row["measure"] for row in found] == ["dislodgement", "leakage"]


def test_a_period_and_a_site_can_be_chosen(store_file):
    found = rows(
        store_file, "dislodgement", "--site", "avocet", "--from", "2025-02", "--to", "2025-03",
    )  # fmt: skip
    assert [(row["month"], row["episodes"]) for row in found] == [("2025-02", 10), ("2025-03", 10)]


def test_csv_has_a_header_and_a_row_a_period(store_file):
    lines = run(store_file, "dislodgement", "--format", "csv").stdout.splitlines()
    assert lines[0] == ",".join(["measure", "month", *SHAPE])
    assert len(lines) == 4


def test_without_a_name_the_catalogue_is_listed_without_a_store(tmp_path):
    done = CliRunner().invoke(dwell, ["measures", "--db", str(tmp_path / "none.duckdb")])
    assert done.exit_code == 0
    assert len(done.stdout.splitlines()) == 1 + len(load_catalogue())
    done = CliRunner().invoke(dwell, ["measures", "--format", "json"])
    assert len(json.loads(done.stdout)) == len(load_catalogue())


@pytest.mark.parametrize(
    "words",
    [
        ["shoe_size"],
        ["leakage", "--by", "shoe_size"],
        ["leakage", "--from", "June"],
        ["leakage", "--from", "2025-03", "--to", "2025-01"],
    ],
)
def test_what_does_not_fit_is_a_usage_error(store_file, words):
    with pytest.raises(UsageError):
        run(store_file, *words)


def test_a_site_without_episodes_has_no_data(store_file):
    with pytest.raises(NoDataError):
        run(store_file, "leakage", "--site", "curlew")
