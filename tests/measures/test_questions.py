"""Every worked question runs, is explained, and binds what it is asked with."""

# ruff: noqa: E501 (a row of a table stays on one line)

import pytest

from pipeline.errors import UsageError
from pipeline.measures.questions import QuestionError, find_question, load_questions, read_question
from pipeline.store.adhoc import open_queries

NAMES = list(load_questions())


@pytest.fixture(scope="module")
def store_file(tmp_path_factory):
    from tests.conftest import Database

    db = Database()
    db.given(
        "episode",
        """
        episode_id | patient_key | placed_month | removed_h | removal_reason | interpreter_needed | concentration_pct | rate_ml_h | reservoir_ml
        e1         | p1          | 2025-01      | 30        | dislodged      | no                 | 0.2               | 6         | 400
        e2         | p1          | 2025-02      | 72        | completed      | yes                | 0.2               | 8         | 400
        e3         | p2          | 2025-02      | 70        | leakage        |                    | 0.1               | 6         | 500
        """,
    )
    db.given(
        "contact",
        """
        episode_id | at_h | direction | leakage | tinnitus | limb_weakness | fell | pain_score | opioid_doses | minutes_to_answer
        e1         | 20   | service   | large   | no       | no            | no   | 3          | 1            |
        e1         | 15   | family    | none    | yes      | yes           | yes  | 7          |              | 12
        e2         | 44   | service   | none    | no       | no            | no   | 0          | 0            |
        """,
    )
    db.given("visit", "episode_id | at_h | relation\n e2 | 80 | pain")
    path = db.save(tmp_path_factory.mktemp("questions") / "dwell.duckdb")
    db.close()
    return path


@pytest.fixture(scope="module")
def queries(store_file):
    with open_queries(store_file) as queries:
        yield queries


def test_there_are_more_than_20():
    assert len(NAMES) >= 20


@pytest.mark.parametrize("name", NAMES)
def test_every_question_runs_and_is_explained(queries, name):
    question = find_question(name)
    assert question.title.endswith("?")
    assert question.read.endswith(".")
    result = queries.run(question.sql, question.values({}))
    assert result.columns
    assert len(set(result.columns)) == len(result.columns)


@pytest.mark.parametrize("name", NAMES)
def test_every_question_finds_something_in_a_small_store(queries, name):
    question = find_question(name)
    assert queries.run(question.sql, question.values({})).rows


def test_dislodgement_by_hour_counts_in_the_hours_of_the_removal(queries):
    question = find_question("dislodgement_by_hour")
    rows = queries.run(question.sql, question.values({"hours": "24"})).rows
    assert [row[:4] for row in rows] == [
        (0, 24, 3, 0),
        (24, 48, 3, 1),
        (48, 72, 2, 0),
        (72, 96, 1, 0),
    ]


def test_leakage_then_dislodgement_counts_within_the_hours(queries):
    question = find_question("leakage_then_dislodgement")
    near = {row[0]: row[2] for row in queries.run(question.sql, question.values({})).rows}
    assert near == {True: 1, False: 0}
    short = question.values({"hours": "9"})
    assert {row[0]: row[2] for row in queries.run(question.sql, short).rows}[True] == 0


def test_an_unknown_setting_or_a_value_of_the_wrong_type_is_refused():
    question = find_question("dislodgement_by_hour")
    with pytest.raises(UsageError, match="no setting colour"):
        question.values({"colour": "red"})
    with pytest.raises(UsageError, match="hours must be a whole number"):
        question.values({"hours": "twelve"})


def test_an_unknown_question_is_answered_with_the_nearest():
    with pytest.raises(UsageError) as raised:
        find_question("dislodgment_by_hour")
    assert raised.value.try_next == "dwell questions dislodgement_by_hour"


@pytest.mark.parametrize(
    "text", ["select 1", "-- title: X?\nselect 1", "-- title: X?\n-- read: Y.\n-- set: z\nselect 1"]
)
def test_a_file_that_does_not_explain_itself_is_refused(tmp_path, text):
    path = tmp_path / "x.sql"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(QuestionError, match=r"x\.sql"):
        read_question(path)
