"""What is printed beside a measure, one rule a test."""

import pytest

from pipeline.answers.measures import rates_beside
from pipeline.measures.catalogue import find_measure, load_catalogue
from pipeline.measures.companions import companions
from tests.measures.test_series import StoreInMemory

EVERY = [card for measure in load_catalogue().values() for card in companions(measure)]


@pytest.fixture
def counted(db):
    """Return the numerators and denominators beside a measure, by title."""
    db.keeps_ready = True

    def rows(measure):
        store = StoreInMemory(db.connection)
        found = rates_beside(store, measure).frame()
        return {row["measure"]: (row["numerator"], row["denominator"]) for row in found.to_dicts()}

    return rows


@pytest.mark.parametrize("card", EVERY, ids=lambda card: card.name)
def test_every_one_has_at_most_one_row_an_episode(db, card):
    db.given("episode", "episode_id\n e1\n e2")
    db.given("contact", "episode_id | at_h\n e1 | 20\n e1 | 44")
    db.given("visit", "episode_id | at_h\n e1 | 20\n e1 | 44")
    keys = [row[0] for row in db.rows(f"select episode_id from ({card.sql})")]
    assert len(keys) == len(set(keys)) <= 2


def test_early_removal_stands_beside_its_value_with_no_and_with_12_h_of_grace(db, counted):
    db.given(
        "episode",
        """
        episode_id | removed_h | removal_reason
        e1         | 71        | leakage
        e2         | 65        | leakage
        e3         | 59        | leakage
        e4         | 50        | completed
        """,
    )
    assert counted("early_removal") == {
        "Removed early, with 12 h of grace": (1, 4),
        "Removed early, with no grace": (3, 4),
    }


def test_visits_stand_apart_by_kind_and_related_ones_alone(db, counted):
    db.given(
        "visit",
        """
        episode_id | kind                 | relation
        e1         | emergency_department | uncertain
        e2         | readmission          | pain
        e3         | urgent_clinic        | catheter
        e4         | urgent_clinic        | surgery
        """,
    )
    assert counted("unplanned_visit") == {
        "Clinic at short notice": (1, 4),
        "Emergency department": (1, 4),
        "Readmission": (1, 4),
        "Related visits alone": (2, 4),
    }


def test_the_planned_course_stands_apart_by_its_length(db, counted):
    db.given(
        "episode",
        """
        episode_id | planned_dwell_h | removed_h | removal_reason
        e1         | 48              | 48        | completed
        e2         | 72              | 48        | leakage
        e3         | 96              | 96        | completed
        """,
    )
    assert counted("planned_course_completed") == {
        "Planned for over 72 h": (1, 1),
        "Planned for up to 48 h": (1, 1),
        "Planned for more than 48 h and up to 72 h": (0, 1),
    }


def test_leakage_stands_beside_the_share_of_calls_that_reached_and_by_days_reached(db, counted):
    # Home from 6 h to 72 h: three days.
    db.given(
        "contact",
        """
        episode_id | at_h | reached | leakage
        e1         | 20   | yes     | large
        e1         | 44   | yes     | none
        e1         | 60   | yes     | none
        e2         | 20   | yes     | none
        e2         | 44   | no      |
        """,
    )
    assert counted("leakage") == {
        "Planned contacts that reached the family": (4, 5),
        "Large leakage at the skin entry, every day at home reached": (1, 1),
        "Large leakage at the skin entry, some days at home not reached": (0, 1),
    }


def test_what_contacts_tell_of_always_stands_beside_how_far_they_reached():
    told = {name for name, card in load_catalogue().items() if card.is_told_by_contacts}
    assert told == {"leakage", "toxicity_symptoms", "emergency_symptoms", "falls_lower_limb"}
    for name in told:
        names = {card.name for card in companions(find_measure(name))}
        assert "told_by_contacts/planned_contacts_reached" in names
        assert f"{name}/some_days_not_reached" in names


def test_expected_effects_stand_beside_symptoms_of_toxicity(db, counted):
    db.given("episode", "episode_id | nerve_target\n e1 | interscalene\n e2 | femoral")
    db.given(
        "contact",
        """
        episode_id | hoarse_voice | drooping_lid | breathing_difficulty
        e1         | yes          | no           | yes
        e2         | no           | no           | no
        """,
    )
    found = counted("toxicity_symptoms")
    assert found["Hoarse voice or drooping lid (expected effects of some blocks)"] == (1, 2)
    (breathless,) = [value for title, value in found.items() if title.startswith("Shortness")]
    assert breathless == (1, 1)
