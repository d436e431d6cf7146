"""`dwell questions`: the list, one question, and what it is asked with."""

import json

import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.errors import UsageError
from pipeline.measures.questions import load_questions


def run(*words):
    done = CliRunner().invoke(dwell, ["questions", *words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def test_the_list_needs_no_store_and_says_what_can_be_set():
    text = run().stdout
    assert all(name in text for name in load_questions())
    assert "--set hours=12" in text


def test_an_answer_comes_with_how_to_read_it_and_its_rows_alone_on_stdout(db, tmp_path):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 30 | dislodged")
    path = db.save(tmp_path / "dwell.duckdb")
    done = run("dislodgement_by_hour", "--set", "hours=24", "--db", str(path), "--format", "csv")
    assert done.stdout.splitlines() == [
        "from_h,until_h,in_place,dislodged,dislodged_per_100", "0,24,1,0,0.0", "24,48,1,1,100.0"
    ]  # fmt: skip
    assert "(hours=24, site=all)" in done.stderr
    assert "Confidential" in done.stderr


def test_the_sql_can_be_shown_to_begin_from():
    assert "from episode_dwell" in run("median_dwell_by_nerve", "--show-sql").stdout


def test_the_list_is_printed_for_programs_too():
    rows = json.loads(run("--format", "json").stdout)
    assert [row["name"] for row in rows] == list(load_questions())
    hours = {"name": "hours", "type": "integer", "default": 12, "description": "width of a band"}
    (by_hour,) = [row for row in rows if row["name"] == "dislodgement_by_hour"]
    assert by_hour["parameters"][0] == hours
    assert run("--format", "csv").stdout.splitlines()[0] == "name,title,read"


@pytest.mark.parametrize(
    "words",
    [
        ["none"],
        ["dislodgement_by_hour", "--set", "hours"],
        ["dislodgement_by_hour", "--set", "hours=many"],
        ["dislodgement_by_hour", "--set", "hour=1"],
        ["--set", "hours=1"],
        ["--format", "xlsx"],
    ],
    ids=" ".join,
)
def test_what_does_not_fit_is_a_usage_error(words):
    with pytest.raises(UsageError):
        run(*words)
