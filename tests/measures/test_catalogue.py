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
from pipeline.settings import SYMPTOM_TIERS, DoseCeiling, Settings

NAMES = [
    "dislodgement",
    "early_removal",
    "leakage",
    "dressing_failure",
    "toxicity_symptoms",
    "emergency_symptoms",
    "redness_swelling",
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
    "answered_in_time",
    "night_calls",
    "serious_events",
    "lasting_nerve_symptoms",
    "pump_problem",
    "rebound_pain",
    "satisfaction",
    "limb_aid_given",
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


def test_the_catalogue_holds_the_measures():
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
    db.given("event", "episode_id | at_h\n e1 | 20\n e1 | 44")
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
        "toxicity_symptoms", "emergency_symptoms", "redness_swelling",
        "difficult_removal", "falls_lower_limb", "serious_events", "lasting_nerve_symptoms",
    }  # fmt: skip
    assert {n for n, m in catalogue.items() if m.multiplier == 1} == {"family_calls", "night_calls"}
    assert {n for n, m in catalogue.items() if m.charts[0] is Chart.U} == {
        "family_calls", "night_calls"
    }  # fmt: skip
    assert {n for n, m in catalogue.items() if m.better == "higher"} == {
        "opioid_free", "planned_course_completed", "daily_contact", "removal_time_recorded",
        "removed_by_day", "dose_within_ceiling", "runtime_covers_course", "answered_in_time",
        "satisfaction", "limb_aid_given",
    }  # fmt: skip
    assert {n for n, m in catalogue.items() if m.better == "neither"} == {
        "family_calls", "night_calls"
    }  # fmt: skip


def test_every_measure_has_a_place_of_its_own_and_the_most_important_lead():
    placed = sorted(load_catalogue().values(), key=lambda measure: measure.place)
    assert [measure.place for measure in placed] == list(range(1, len(NAMES) + 1))
    assert [measure.name for measure in placed[:4]] == [
        "dislodgement", "leakage", "toxicity_symptoms", "unplanned_visit"
    ]  # fmt: skip


def test_safety_measures_are_those_of_which_every_case_counts():
    assert {name for name, measure in load_catalogue().items() if measure.is_safety} == {
        "serious_events", "toxicity_symptoms", "emergency_symptoms", "lasting_nerve_symptoms"
    }  # fmt: skip


def test_cards_speak_of_the_local_minutes_hours_tiers_and_ceilings():
    local = Settings(
        answer_minutes=20,
        removal_by_hour=16,
        symptom_tiers=SYMPTOM_TIERS | {"drowsy": "emergency"},
        dose_ceilings=(DoseCeiling("ropivacaine", 0, 22, 0.3),),
    )
    assert find_measure("answered_in_time").title == "Calls answered within 15 minutes"
    assert find_measure("answered_in_time", local).title == "Calls answered within 20 minutes"
    assert find_measure("removed_by_day").title == "Planned removals done before 14:00"
    assert find_measure("removed_by_day", local).title == "Planned removals done before 16:00"
    assert "hard to wake" in find_measure("emergency_symptoms", local).numerator
    assert "none is set" in find_measure("dose_within_ceiling").numerator
    assert "ropivacaine 0.3 mg/kg/h" in find_measure("dose_within_ceiling", local).numerator


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
