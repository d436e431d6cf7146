import numpy as np
import pytest

from pipeline.measures.catalogue import load_catalogue
from pipeline.records.codes import RemovalReason, SurgeonType
from synthetic_data.scenario import Scenario, load_scenario, months_until, weights


def test_the_network_is_five_sites_over_twelve_quarters(scenario: Scenario):
    assert len(scenario.sites) == 5
    assert (scenario.months[0], scenario.months[-1], len(scenario.months)) == (
        "2023-01",
        "2025-12",
        36,
    )


def test_changes_name_measures_of_the_catalogue(scenario: Scenario):
    known = set(load_catalogue())
    for change in scenario.changes:
        assert set(change.measures) <= known


def test_one_change_has_no_new_phase_and_two_have_no_effect(scenario: Scenario):
    phases = {change.change_id: change.new_phase for change in scenario.changes}
    effective = {scenario.planted["securement"]["change"]}
    assert not all(phases.values())
    assert len([c for c, phase in phases.items() if phase and c not in effective]) == 2


def test_reasons_and_types_are_those_of_the_vocabulary(scenario: Scenario):
    weights(SurgeonType, dict.fromkeys(scenario.tables["surgeon_type"], 1.0))
    caused = set(scenario.tables["removal"]) | {
        spec["removal_reason"]
        for spec in scenario.tables["onset"].values()
        if spec["removal_share"] > 0
    }
    assert caused == {reason.value for reason in RemovalReason} - {"completed"}


def test_the_planted_surgeon_type_has_no_effect_of_its_own(scenario: Scenario):
    table = scenario.tables["surgeon_type"][scenario.planted["case_mix"]["surgeon_type"]]
    assert set(table) == {"share", "age", "planned_dwell_h", "nerve_target"}


def test_shares_of_months_and_sites_add_to_one(scenario: Scenario):
    assert scenario.cell_shares.sum() == pytest.approx(1)
    assert (scenario.cell_shares[:6, 4] == 0).all()  # sandpiper opens in the seventh month
    np.testing.assert_allclose(scenario.surgeon_shares.sum(axis=1), 1)


def test_an_unknown_code_is_named():
    with pytest.raises(ValueError, match="not in SurgeonType: dentistry"):
        weights(SurgeonType, {"dentistry": 1.0})


def test_a_larger_network_keeps_its_first_sites_and_names_more():
    large = load_scenario(sites=60, months=60)
    assert large.site_codes[:5] == load_scenario().site_codes
    assert len(set(large.site_codes)) == len({site.label for site in large.sites}) == 60
    assert large.months == months_until("2025-12", 60)
    assert (large.cell_shares[0] > 0).sum() == 59


def test_a_smaller_network_logs_only_the_changes_of_its_sites():
    small = load_scenario(sites=1)
    assert {change.sites for change in small.changes} == {("avocet",), ("all",)}


@pytest.mark.parametrize("asked", [{"sites": 0}, {"months": 0}])
def test_a_network_needs_a_site_and_a_month(asked: dict[str, int]):
    with pytest.raises(ValueError, match="at least 1"):
        load_scenario(**asked)
