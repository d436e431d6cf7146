"""The settings file: what may stand in it, and what stops the program with exit 8."""

from pathlib import Path

import pytest

from pipeline.errors import SettingsError
from pipeline.records.codes import Drug
from pipeline.records.layout import SYMPTOMS
from pipeline.settings import DRUGS, SYMPTOM_TIERS, Settings, load_settings


def read(tmp_path: Path, text: str) -> Settings:
    path = tmp_path / "dwell.toml"
    path.write_text(text, encoding="utf-8")
    return load_settings(path)


CEILING = """
[[dose_ceilings]]
drug = "ropivacaine"
from_age_years = {first}
below_age_years = {below}
mg_kg_h = {dose}
"""


def ceilings(*rows: tuple[int, int, float]) -> str:
    return "".join(CEILING.format(first=a, below=b, dose=c) for a, b, c in rows)


def test_without_a_file_no_ceiling_is_set_and_common_practice_holds() -> None:
    usual = Settings()
    assert usual.dose_ceilings == ()
    assert (usual.answer_minutes, usual.removal_by_hour) == (15, 14)
    emergencies = {name for name, tier in usual.symptom_tiers.items() if tier == "emergency"}
    assert emergencies == {"breathing_difficulty", "unresponsive", "seizure"}
    assert set(usual.symptom_tiers.values()) == {"emergency", "same_hour"}


def test_symptoms_and_drugs_are_those_of_the_records() -> None:
    assert set(SYMPTOM_TIERS) == set(SYMPTOMS)
    assert set(DRUGS) == {drug.value for drug in Drug}


def test_ceilings_of_a_drug_cover_every_age_once(tmp_path: Path) -> None:
    found = read(tmp_path, ceilings((0, 1, 0.2), (1, 22, 0.4)))
    assert [str(one) for one in found.dose_ceilings] == [
        "ropivacaine 0.2 mg/kg/h from 0 and below 1 years",
        "ropivacaine 0.4 mg/kg/h from 1 and below 22 years",
    ]


@pytest.mark.parametrize(
    "rows",
    [((0, 1, 0.2),), ((1, 22, 0.4),), ((0, 5, 0.2), (6, 22, 0.4)), ((0, 6, 0.2), (5, 22, 0.4))],
)
def test_ceilings_that_leave_an_age_out_or_give_it_twice_stop(
    tmp_path: Path, rows: tuple[tuple[int, int, float], ...]
) -> None:
    with pytest.raises(SettingsError, match="leave an age out, or give it twice") as raised:
        read(tmp_path, ceilings(*rows))
    assert raised.value.exit_code == 8


def test_a_ceiling_for_a_drug_that_is_none_or_of_nothing_stops(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="a drug that is not"):
        read(tmp_path, ceilings((0, 22, 0.4)).replace("ropivacaine", "ropivacain"))
    with pytest.raises(SettingsError, match="not above zero"):
        read(tmp_path, ceilings((0, 22, 0.0)))


def test_the_target_of_an_unknown_measure_stops_and_the_nearest_is_named(tmp_path: Path) -> None:
    assert read(tmp_path, "[targets]\ndislodgement = 6\n").targets == {"dislodgement": 6}
    with pytest.raises(SettingsError, match="no measure dislodgment") as raised:
        read(tmp_path, "[targets]\ndislodgment = 6\n")
    assert (raised.value.exit_code, raised.value.try_next) == (8, "dislodgement")


def test_a_file_names_only_the_symptoms_whose_tier_differs(tmp_path: Path) -> None:
    found = read(tmp_path, '[symptom_tiers]\ndrowsy = "emergency"\n')
    assert found.symptom_tiers == SYMPTOM_TIERS | {"drowsy": "emergency"}


@pytest.mark.parametrize(
    "text",
    [
        '[symptom_tiers]\nhiccups = "emergency"',
        '[symptom_tiers]\ndrowsy = "soon"',
        "answer_minutes = 0",
        "removal_by_hour = 3",
        "baseline_months = 0",
        "smallest_ratio = 0.9",
        "smallest_ratio = inf",
        "in_control_run_length = inf",
        "[targets]\ndislodgement = nan",
        "[targets]\ndislodgement = true",
        "[targets]\ndislodgement = -3",
        'answer_minutes = "ten"',
        "evening_meal_hour = 18",
    ],
)
def test_an_unknown_name_or_impossible_value_stops(tmp_path: Path, text: str) -> None:
    with pytest.raises(SettingsError) as raised:
        read(tmp_path, text)
    assert raised.value.exit_code == 8
