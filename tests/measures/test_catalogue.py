"""A measure's card is its specification: it must say what the SQL does."""

import json
import re

import pytest

from pipeline.errors import UsageError
from pipeline.measures.catalogue import (
    CatalogueError,
    Chart,
    find_measure,
    load_catalogue,
    read_measure,
)
from pipeline.resources import resource

NAMES = [
    "dislodgement",
    "early_removal",
    "leakage",
    "dressing_failure",
    "toxicity_calls",
    "toxicity_urgent",
    "infection_signs",
    "unplanned_visit",
    "difficult_removal",
    "falls_lower_limb",
    "severe_pain",
    "opioid_free",
    "planned_course_completed",
    "daily_contact",
    "removal_time_recorded",
    "removed_by_day",
    "dose_within_ceiling",
    "runtime_covers_course",
    "family_calls",
    "answered_in_15_min",
    "night_calls",
]


def tables_read(db, sql):
    """Tables and views that a select names, without its own steps."""
    ((tree,),) = db.connection.execute("select json_serialize_sql(?)", [sql]).fetchall()
    names, steps = set(), set()

    def walk(node):
        if isinstance(node, list):
            for item in node:
                walk(item)
        elif isinstance(node, dict):
            if node.get("type") == "BASE_TABLE":
                names.add(node["table_name"])
            steps.update(step["key"] for step in node.get("cte_map", {}).get("map", []))
            walk(list(node.values()))

    walk(json.loads(tree))
    return names - steps


def test_the_catalogue_holds_the_21_measures():
    assert sorted(load_catalogue()) == sorted(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_card_names_the_file_and_the_columns_and_tables_of_its_sql(db, name):
    measure = load_catalogue()[name]
    assert (resource("sql", "measures") / f"{measure.name}.sql").exists()
    columns = [row[0] for row in db.rows(f"describe ({measure.sql})")]
    assert columns == ["episode_id", "numerator", "denominator"]
    assert tables_read(db, measure.sql) == set(measure.reads)


@pytest.mark.parametrize("name", NAMES)
def test_every_measure_has_one_row_an_episode(db, name):
    db.given("episode", "episode_id | nerve_target\n e1 | femoral\n e2 | trunk_wall\n e3 | other")
    db.given("contact", "episode_id | at_h\n e1 | 20\n e1 | 44\n e2 | 20")
    db.given("visit", "episode_id | at_h\n e1 | 20\n e1 | 44")
    rows = db.rows(f"select episode_id from ({load_catalogue()[name].sql}) order by 1")
    assert rows == [("e1",), ("e2",), ("e3",)]


@pytest.mark.parametrize("name", NAMES)
def test_measure_sql_is_lower_case_and_ends_with_final(name):
    sql = re.sub(r"--.*", "", load_catalogue()[name].sql)
    assert sql == sql.lower()
    assert sql.rstrip().endswith("select * from final")


@pytest.mark.parametrize("name", NAMES)
def test_a_proportion_never_has_more_events_than_its_denominator(db, name):
    measure = load_catalogue()[name]
    db.given("contact", "episode_id | at_h | direction\n e1 | 20 | family\n e1 | 21 | family")
    if measure.denominator_kind == "proportion":
        assert db.rows(f"select * from ({measure.sql}) where numerator > denominator") == []


def test_units_charts_and_directions_are_those_of_the_measures_table():
    catalogue = load_catalogue()
    assert {n for n, m in catalogue.items() if m.multiplier == 1000} == {
        "toxicity_calls", "toxicity_urgent", "infection_signs",
        "difficult_removal", "falls_lower_limb",
    }  # fmt: skip
    assert {n for n, m in catalogue.items() if m.multiplier == 1} == {"family_calls", "night_calls"}
    assert {n for n, m in catalogue.items() if m.charts[0] is Chart.U} == {
        "leakage", "family_calls", "night_calls"
    }  # fmt: skip
    assert {n for n, m in catalogue.items() if m.better == "higher"} == {
        "opioid_free", "planned_course_completed", "daily_contact", "removal_time_recorded",
        "removed_by_day", "dose_within_ceiling", "runtime_covers_course", "answered_in_15_min",
    }  # fmt: skip


def test_an_unknown_measure_is_answered_with_the_nearest():
    with pytest.raises(UsageError, match="no measure leakge") as raised:
        find_measure("leakge")
    assert raised.value.try_next == "dwell measures leakage"


@pytest.mark.parametrize(
    ("line", "wrong"),
    [("unit", "a hundred"), ("kind", "nice"), ("chart", "pie"), ("case_mix", "skin_glue")],
)
def test_a_card_with_an_unknown_word_is_refused(tmp_path, line, wrong):
    text = load_catalogue()["leakage"].sql
    bad = re.sub(rf"-- {line}:.*", f"-- {line}: {wrong}", text)
    (tmp_path / "leakage.sql").write_text(bad, encoding="utf-8")
    with pytest.raises(CatalogueError, match=r"leakage\.sql"):
        read_measure(tmp_path / "leakage.sql")


def test_a_card_with_a_line_too_many_or_too_few_is_refused(tmp_path):
    text = load_catalogue()["leakage"].sql
    path = tmp_path / "leakage.sql"
    path.write_text("-- colour: red\n" + text, encoding="utf-8")
    with pytest.raises(CatalogueError, match="colour"):
        read_measure(path)
    path.write_text(re.sub(r"-- title:.*\n", "", text), encoding="utf-8")
    with pytest.raises(CatalogueError, match="title"):
        read_measure(path)
