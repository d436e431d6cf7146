"""The rules of the measures, one a test, in tables that a clinician can read."""

import pytest

from pipeline.settings import SYMPTOM_TIERS, DoseCeiling, Settings
from pipeline.store.settings_tables import put_settings


# ruff: noqa: E501 (a row of a table stays on one line)
def test_dislodgement_counts_catheters_that_came_out(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | removal_reason
        e1         | 30        | dislodged
        e2         | 72        | completed
        e3         | 50        | leakage
        """,
    )
    db.expect(
        "dislodgement",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         | 0         | 1
        e3         | 0         | 1
        """,
    )


def test_dislodgement_is_not_known_without_a_removal_or_a_reason(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | last_known_in_place_h | removal_reason
        e1         |           | 40                    |
        e2         | 50        |                       |
        e3         |           |                       |
        """,
    )
    db.expect(
        "dislodgement",
        """
        episode_id | numerator | denominator
        e1         |           | 1
        e2         |           | 1
        e3         |           | 1
        """,
    )


def test_dislodgement_counts_where_only_an_interval_is_known(db):
    db.given(
        "episode",
        """
        episode_id | removed_after_h | removed_before_h | removal_reason
        e1         | 20              | 32               | dislodged
        """,
    )
    db.expect("dislodgement", "episode_id | numerator\n e1 | 1")


def test_removal_more_than_6_h_before_the_planned_end_is_early(db):
    db.given(
        "episode",
        """
        episode_id | planned_dwell_h | removed_h | removal_reason
        e1         | 72              | 65.9      | leakage
        e2         | 72              | 66        | leakage
        e3         | 48              | 43        | leakage
        e4         | 96              | 72        | family_request
        """,
    )
    db.expect(
        "early_removal",
        """
        episode_id | numerator
        e1         | 1
        e2         | 0
        e3         | 0
        e4         | 1
        """,
    )


def test_a_completed_course_is_never_early(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 40 | completed")
    db.expect("early_removal", "episode_id | numerator\n e1 | 0")


def test_early_removal_has_the_same_catheters_as_dislodgement(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | last_known_in_place_h | removal_reason
        e1         | 30        |                       |
        e2         | 90        |                       |
        e3         |           | 90                    |
        e4         | 30        |                       | other
        """,
    )
    db.expect(
        "early_removal",
        """
        episode_id | numerator | denominator
        e1         |           | 1
        e2         |           | 1
        e3         |           | 1
        e4         | 1         | 1
        """,
    )


def test_an_interval_is_early_by_its_midpoint(db):
    db.given(
        "episode",
        """
        episode_id | removed_after_h | removed_before_h | removal_reason
        e1         | 60              | 70               | dislodged
        e2         | 64              | 70               | dislodged
        """,
    )
    db.expect("early_removal", "episode_id | numerator\n e1 | 1\n e2 | 0")


def test_small_leakage_is_usual_and_not_counted(db):
    db.given(
        "contact",
        """
        episode_id | at_h | leakage
        e1         | 20   | small
        e1         | 44   | large
        """,
    )
    db.expect("leakage", "episode_id | numerator | denominator\n e1 | 1 | 1")


def test_large_leakage_told_twice_is_one_catheter(db):
    db.given(
        "contact",
        """
        episode_id | at_h | leakage
        e1         | 20   | large
        e1         | 44   | large
        e2         | 20   | none
        """,
    )
    db.expect("leakage", "episode_id | numerator\n e1 | 1\n e2 | 0")


def test_removal_for_leakage_counts_without_any_contact(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 30 | leakage")
    db.expect("leakage", "episode_id | numerator | denominator\n e1 | 1 | 1")


OUT_BEFORE_ANY_CALL = """
    episode_id | removed_h | removal_reason
    e1         | 10        | dislodged
    e2         | 10        | leakage
    e3         | 10        |
    e4         | 40        | dislodged
    e5         | 40        | dislodged
    """


def test_a_catheter_out_before_the_first_call_is_counted_by_its_removal(db):
    # e1 was out at 10 h and called first at 20 h; e4 was called at 20 h in vain.
    db.given("episode", OUT_BEFORE_ANY_CALL)
    db.given(
        "contact",
        """
        episode_id | at_h | reached | leakage
        e1         | 20   | no      |
        e4         | 20   | no      |
        e5         | 20   | yes     | none
        """,
    )
    db.expect(
        "leakage",
        """
        episode_id | numerator
        e1         | 0
        e2         | 1
        e3         |
        e4         |
        e5         | 0
        """,
    )


def test_symptoms_and_falls_of_a_catheter_out_before_the_first_call_are_none(db):
    db.given("episode", OUT_BEFORE_ANY_CALL)
    db.given("contact", "episode_id | at_h | reached\n e1 | 20 | no\n e4 | 20 | no\n e5 | 20 | no")
    for measure in ("toxicity_symptoms", "emergency_symptoms", "falls_lower_limb"):
        db.expect(
            measure,
            """
            episode_id | numerator
            e1         | 0
            e2         | 0
            e3         |
            e4         |
            e5         |
            """,
        )


def test_where_a_site_sent_no_contacts_no_catheter_is_known_by_its_removal(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 10 | dislodged")
    db.expect("leakage", "episode_id | numerator\n e1 | ")


def test_a_contact_that_did_not_reach_the_family_ascertains_nothing(db):
    db.given(
        "contact",
        """
        episode_id | at_h | reached | leakage | dressing | tinnitus | redness_swelling | fell
        e1         | 20   | no      | large   | exposed  | yes      | yes              | yes
        """,
    )
    for measure in (
        "leakage", "dressing_failure", "toxicity_symptoms", "emergency_symptoms",
        "redness_swelling", "falls_lower_limb", "severe_pain", "opioid_free",
    ):  # fmt: skip
        db.expect(measure, "episode_id | numerator\n e1 | ")


def test_a_question_not_asked_is_missing_and_not_zero(db):
    db.given("contact", "episode_id | at_h\n e1 | 20")
    for measure in (
        "leakage", "dressing_failure", "toxicity_symptoms", "emergency_symptoms",
        "redness_swelling", "falls_lower_limb", "severe_pain", "opioid_free",
    ):  # fmt: skip
        db.expect(measure, "episode_id | numerator\n e1 | ")


def test_the_entry_exposed_at_any_contact_is_a_dressing_failure(db):
    db.given(
        "contact",
        """
        episode_id | at_h | dressing
        e1         | 20   | intact
        e1         | 44   | exposed
        e2         | 20   | reinforced
        """,
    )
    db.expect("dressing_failure", "episode_id | numerator\n e1 | 1\n e2 | 0")


def test_removal_for_the_dressing_is_a_dressing_failure_without_any_contact(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 30 | dressing_failure")
    db.expect("dressing_failure", "episode_id | numerator\n e1 | 1")


@pytest.mark.parametrize("symptom", ["breathing_difficulty", "unresponsive", "seizure"])
def test_trouble_breathing_no_response_and_a_fit_are_emergencies(db, symptom):
    db.given("contact", f"contact_id | {symptom}\n c1 | yes\n c2 | no")
    db.expect("contact_tier", "contact_id | tier\n c1 | emergency\n c2 | none")


@pytest.mark.parametrize(
    "symptom", [name for name, tier in SYMPTOM_TIERS.items() if tier == "same_hour"]
)
def test_every_other_symptom_is_answered_in_the_same_hour(db, symptom):
    db.given("contact", f"contact_id | {symptom}\n c1 | yes\n c2 | no")
    db.expect("contact_tier", "contact_id | tier\n c1 | same_hour\n c2 | none")


def test_a_contact_takes_its_highest_tier(db):
    db.given(
        "contact",
        """
        contact_id | breathing_difficulty | tinnitus | metallic_taste
        c1         | yes                  | yes      | yes
        c2         | no                   | yes      |
        c3         |                      | no       |
        """,
    )
    db.expect("contact_tier", "contact_id | tier\n c1 | emergency\n c2 | same_hour\n c3 | none")


def test_a_contact_that_asked_for_no_symptom_has_no_tier(db):
    db.given("contact", "contact_id | hoarse_voice\n c1 | yes")
    assert db.rows("select * from contact_tier") == []


def test_the_tier_of_a_symptom_is_a_setting(db):
    db.given("contact", "contact_id | drowsy | metallic_taste\n c1 | yes | \n c2 | | yes")
    tiers = SYMPTOM_TIERS | {"drowsy": "emergency", "metallic_taste": "next_call"}
    put_settings(db.connection, Settings(symptom_tiers=tiers))
    db.expect("contact_tier", "contact_id | tier\n c1 | emergency\n c2 | next_call")
    db.expect("emergency_symptoms", "episode_id | numerator\n e1 | 1")


def test_each_catheter_with_a_symptom_counts_once(db):
    db.given(
        "contact", "episode_id | at_h | agitation\n e1 | 20 | yes\n e1 | 21 | yes\n e2 | 44 | no"
    )
    db.expect("toxicity_symptoms", "episode_id | numerator | denominator\n e1 | 1 | 1\n e2 | 0 | 1")


def test_removal_for_symptoms_counts_without_any_contact(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 30 | toxicity_symptoms")
    db.expect("toxicity_symptoms", "episode_id | numerator\n e1 | 1")


def test_only_symptoms_of_the_tier_emergency_are_emergency_symptoms(db):
    db.given("contact", "episode_id | seizure | tinnitus\n e1 | yes | \n e2 | | yes\n e3 | no | no")
    db.expect("emergency_symptoms", "episode_id | numerator\n e1 | 1\n e2 | 0\n e3 | 0")


BREATHLESS = """
    episode_id | nerve_target
    e1         | interscalene
    e2         | supraclavicular
    e3         | femoral
    e4         | interscalene
    """


def test_shortness_of_breath_with_a_block_above_the_collarbone_is_kept_apart(db):
    db.given("episode", BREATHLESS)
    db.given(
        "contact",
        """
        episode_id | breathing_difficulty | tinnitus
        e1         | yes                  | no
        e2         | yes                  | no
        e3         | yes                  | no
        e4         | yes                  | yes
        """,
    )
    db.expect("toxicity_symptoms", "episode_id | numerator\n e1 | 0\n e2 | 0\n e3 | 1\n e4 | 1")
    db.expect(
        "contact_tier",
        """
        episode_id | is_breathless_above_collarbone
        e1         | yes
        e2         | yes
        e3         | no
        e4         | yes
        """,
    )


def test_shortness_of_breath_is_an_emergency_whatever_the_block(db):
    db.given("episode", BREATHLESS)
    db.given("contact", "episode_id | breathing_difficulty\n e1 | yes\n e3 | yes")
    db.expect("contact_tier", "episode_id | tier\n e1 | emergency\n e3 | emergency")
    db.expect("emergency_symptoms", "episode_id | numerator\n e1 | 1\n e2 | \n e3 | 1\n e4 | ")


def test_hoarse_voice_and_a_drooping_lid_are_expected_effects_and_no_toxicity(db):
    db.given(
        "contact",
        """
        episode_id | hoarse_voice | drooping_lid | tinnitus
        e1         | yes          |              | no
        e2         |              | yes          | no
        e3         | no           | no           | no
        e4         |              |              | no
        """,
    )
    db.expect("toxicity_symptoms", "episode_id | numerator\n e1 | 0\n e2 | 0\n e3 | 0\n e4 | 0")
    db.expect(
        "contact_summary",
        """
        episode_id | expected_effect_contacts
        e1         | 1
        e2         | 1
        e3         | 0
        e4         |
        """,
    )


def test_what_was_done_after_a_symptom_and_the_hours_to_removal_are_told(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 26 | toxicity_symptoms")
    db.given(
        "contact",
        """
        episode_id | at_h | tinnitus | clamped | restarted | seen
        e1         | 20   | yes      | yes     | no        | yes
        e1         | 30   | no       |         |           |
        """,
    )
    db.expect(
        "contact_tier",
        """
        at_h | tier      | clamped | restarted | seen | hours_to_removal | reason
        20   | same_hour | yes     | no        | yes  | 6                | toxicity_symptoms
        30   | none      |         |           |      |                  | toxicity_symptoms
        """,
    )


def test_redness_told_twice_is_one_catheter_with_signs_of_infection(db):
    db.given(
        "contact",
        "episode_id | at_h | redness_swelling\n e1 | 20 | yes\n e1 | 44 | yes\n e2 | 20 | no",
    )
    db.expect("redness_swelling", "episode_id | numerator\n e1 | 1\n e2 | 0")


def test_removal_for_infection_counts_without_any_contact(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 48 | infection_signs")
    db.expect("redness_swelling", "episode_id | numerator | denominator\n e1 | 1 | 2")


def test_visits_until_72_h_after_removal_count(db):
    # Removed at 72 h: until 144 h.
    db.given("visit", "episode_id | at_h\n e1 | 50\n e2 | 144\n e3 | 145")
    db.expect("unplanned_visit", "episode_id | numerator\n e1 | 1\n e2 | 1\n e3 | 0")


def test_visits_for_catheter_or_pain_or_of_uncertain_cause_count(db):
    db.given(
        "visit",
        """
        episode_id | relation
        e1         | catheter
        e2         | pain
        e3         | uncertain
        e4         | surgery
        e5         | unrelated
        """,
    )
    db.expect(
        "unplanned_visit",
        """
        episode_id | numerator
        e1         | 1
        e2         | 1
        e3         | 1
        e4         | 0
        e5         | 0
        """,
    )


def test_two_visits_of_one_catheter_count_once(db):
    db.given("visit", "episode_id | at_h\n e1 | 50\n e1 | 60")
    db.expect("unplanned_visit", "episode_id | numerator | denominator\n e1 | 1 | 1")


def test_a_child_not_followed_for_72_h_after_removal_is_missing_with_or_without_a_visit(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | last_known_in_place_h | followed_until_h
        e1         | 72        |                       | 143
        e2         | 72        |                       | 100
        e3         | 72        |                       |
        e4         | 72        |                       | 144
        e5         |           | 40                    | 168
        """,
    )
    db.given("visit", "episode_id | at_h\n e2 | 50")
    db.expect(
        "unplanned_visit",
        """
        episode_id | numerator | denominator
        e1         |           | 1
        e2         |           | 1
        e3         |           | 1
        e4         | 0         | 1
        e5         |           | 1
        """,
    )


def test_resistance_and_sharp_pain_are_difficult_removals_and_a_fragment_is_an_event(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | removal_difficulty
        e1         | 72        | none
        e2         | 72        | resistance
        e3         | 72        | sharp_pain
        e4         | 72        | retained_fragment
        e5         | 72        |
        """,
    )
    db.expect(
        "difficult_removal",
        """
        episode_id | numerator | denominator
        e1         | 0         | 1
        e2         | 1         | 1
        e3         | 1         | 1
        e4         | 0         | 1
        e5         |           | 1
        """,
    )
    db.expect("serious_event", "episode_id | kind\n e4 | retained_fragment")


def test_a_catheter_not_known_to_be_removed_is_no_removal(db):
    db.given("episode", "episode_id | last_known_in_place_h\n e1 | 60")
    db.expect("difficult_removal", "episode_id | numerator | denominator\n e1 | | 0")


def test_falls_count_for_lower_limb_catheters_only(db):
    db.given(
        "episode",
        """
        episode_id | nerve_target
        e1         | sciatic_popliteal
        e2         | interscalene
        e3         | trunk_wall
        e4         | other
        """,
    )
    db.given(
        "contact",
        """
        episode_id | at_h | fell
        e1         | 20   | yes
        e1         | 44   | yes
        e2         | 20   | yes
        """,
    )
    db.expect(
        "falls_lower_limb",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         |           | 0
        e3         |           | 0
        e4         |           | 0
        """,
    )


def test_severe_pain_is_a_score_of_7_or_more_after_the_first_night(db):
    # Placed at 09:00: the first night ends at 06:00, 21 h later.
    db.given(
        "contact",
        """
        episode_id | at_h | pain_score
        e1         | 20   | 9
        e1         | 21   | 6
        e2         | 21   | 7
        e3         | 20   | 9
        e4         | 44   | 0
        """,
    )
    db.expect(
        "severe_pain",
        """
        episode_id | numerator
        e1         | 0
        e2         | 1
        e3         |
        e4         | 0
        """,
    )


def test_the_first_night_ends_at_the_first_six_oclock_after_placement(db):
    db.given(
        "episode",
        """
        episode_id | placed_hour
        e1         | 9
        e2         | 22
        e3         | 2
        e4         |
        """,
    )
    db.expect(
        "episode_dwell",
        """
        episode_id | first_night_end_h
        e1         | 21
        e2         | 8
        e3         | 4
        e4         | 24
        """,
    )


def test_one_reported_opioid_dose_is_not_opioid_free(db):
    db.given(
        "contact",
        """
        episode_id | at_h | opioid_doses
        e1         | 20   | 0
        e1         | 50   | 0
        e2         | 20   | 1
        e2         | 50   | 0
        """,
    )
    db.expect("opioid_free", "episode_id | numerator\n e1 | 1\n e2 | 0")


def test_opioid_reports_are_full_when_they_reach_the_last_day(db):
    # Removed at 72 h: the last report must come at 48 h or later.
    db.given(
        "contact",
        """
        episode_id | at_h | opioid_doses
        e1         | 20   | 0
        e2         | 48   | 0
        e3         | 96   | 0
        """,
    )
    db.expect("opioid_free", "episode_id | numerator\n e1 | \n e2 | 1\n e3 | 1")


def test_a_planned_call_that_did_not_ask_about_opioids_makes_the_reports_incomplete(db):
    db.given(
        "contact",
        """
        episode_id | at_h | direction | reached | opioid_doses
        e1         | 20   | service   | yes     |
        e1         | 50   | service   | yes     | 0
        e2         | 20   | service   | no      |
        e2         | 30   | family    | yes     |
        e2         | 50   | service   | yes     | 0
        """,
    )
    # The call that did not reach e2 is covered by the next: doses are since the last contact.
    db.expect("opioid_free", "episode_id | numerator\n e1 | \n e2 | 1")


def test_the_planned_course_is_completed_in_place_at_its_end(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | last_known_in_place_h | removal_reason
        e1         | 72        |                       | completed
        e2         | 80        |                       | dislodged
        e3         | 60        |                       | completed
        e4         | 60        |                       | leakage
        e5         |           | 72                    |
        e6         |           | 60                    |
        e7         |           |                       |
        """,
    )
    db.expect(
        "planned_course_completed",
        """
        episode_id | numerator
        e1         | 1
        e2         | 1
        e3         | 0
        e4         | 0
        e5         | 1
        e6         |
        e7         |
        """,
    )


def test_a_course_ended_as_planned_has_6_h_of_grace(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | removal_reason
        e1         | 66        | completed
        e2         | 65        | completed
        e3         | 66        | leakage
        """,
    )
    db.expect("planned_course_completed", "episode_id | numerator\n e1 | 1\n e2 | 0\n e3 | 0")


def test_a_catheter_removed_for_symptoms_is_not_completed(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | removal_reason
        e1         | 72        | toxicity_symptoms
        e2         | 72        | completed
        e3         | 72        | completed
        """,
    )
    db.given(
        "contact",
        """
        episode_id | at_h | dizziness | outcome
        e2         | 71   | yes       | catheter_removed
        e3         | 71   | yes       | reassured
        """,
    )
    db.expect("planned_course_completed", "episode_id | numerator\n e1 | 0\n e2 | 0\n e3 | 1")


def test_daily_contact_counts_days_of_which_half_were_at_home(db):
    db.given(
        "episode",
        """
        episode_id | discharged_h | removed_h
        e1         | 6            | 72
        e2         | 13           | 72
        e3         | 6            | 83
        e4         | 6            | 84
        e5         | 80           | 72
        """,
    )
    db.given("contact", "episode_id | at_h\n e1 | 20\n e2 | 20\n e3 | 20\n e4 | 20\n e5 | 20")
    db.expect(
        "daily_contact",
        """
        episode_id | numerator | denominator
        e1         | 1         | 3
        e2         | 0         | 2
        e3         | 1         | 3
        e4         | 1         | 4
        e5         | 0         | 0
        """,
    )


def test_a_day_with_two_contacts_is_one_day(db):
    db.given(
        "contact",
        """
        episode_id | at_h | reached
        e1         | 20   | no
        e1         | 21   | yes
        e1         | 22   | yes
        e1         | 44   | no
        """,
    )
    db.expect("daily_contact", "episode_id | numerator | denominator\n e1 | 1 | 3")
    db.expect(
        "catheter_day",
        """
        episode_id | day_number | contacts | is_reached
        e1         | 1          | 3        | yes
        e1         | 2          | 1        | no
        e1         | 3          | 0        | no
        """,
    )


def test_a_contact_before_going_home_is_no_contact_at_home(db):
    db.given("contact", "episode_id | at_h\n e1 | 5")
    db.expect("daily_contact", "episode_id | numerator\n e1 | 0")


def test_a_child_never_reached_counts_as_not_contacted(db):
    db.given("contact", "episode_id | at_h | reached\n e1 | 20 | no")
    db.expect("daily_contact", "episode_id | numerator | denominator\n e1 | 0 | 3")


def test_a_site_that_sent_no_contacts_for_a_month_has_not_told_that_there_were_none(db):
    db.given(
        "episode",
        """
        episode_id | site   | placed_month
        e1         | avocet | 2025-04
        e2         | avocet | 2025-04
        e3         | avocet | 2025-05
        e4         | dunlin | 2025-04
        """,
    )
    db.given("contact", "episode_id | direction\n e1 | service")
    for measure in ("family_calls", "night_calls", "daily_contact"):
        db.expect(
            measure,
            """
            episode_id | numerator
            e1         | {one}
            e2         | 0
            e3         |
            e4         |
            """.replace("{one}", "1" if measure == "daily_contact" else "0"),
        )


def test_without_going_home_there_are_no_days_at_home_to_count(db):
    db.given("episode", "episode_id | discharged_h\n e1 | ")
    db.given("contact", "episode_id | at_h\n e1 | 20")
    db.expect("daily_contact", "episode_id | numerator | denominator\n e1 | | ")


def test_the_removal_time_is_the_familys_own_record(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | removed_after_h | removed_before_h | removal_time_source
        e1         | 72        |                 |                  | family_record
        e2         | 72        |                 |                  | call_estimate
        e3         | 72        |                 |                  |
        e4         |           | 60              | 72               |
        e5         |           | 60              | 72               | family_record
        """,
    )
    db.expect(
        "removal_time_recorded",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         | 0         | 1
        e3         |           | 1
        e4         | 0         | 1
        e5         | 0         | 1
        """,
    )


def test_only_removals_at_home_can_be_recorded_by_the_family(db):
    db.given(
        "episode",
        """
        episode_id | discharged_h | removed_h | removed_by | last_known_in_place_h | removal_time_source
        e1         | 6            | 5         |            |                       | clinician
        e2         | 6            | 72        | clinician  |                       | clinician
        e3         | 6            |           |            | 60                    |
        e4         |              | 72        | family     |                       | family_record
        e5         |              | 72        |            |                       | family_record
        """,
    )
    db.expect(
        "removal_time_recorded",
        """
        episode_id | numerator | denominator
        e1         |           | 0
        e2         |           | 0
        e3         |           | 0
        e4         | 1         | 1
        e5         |           |
        """,
    )


def test_a_planned_removal_should_be_done_from_6_and_before_14_oclock(db):
    # Placed at 09:00: from 06:00 (69 h) and before 14:00 (77 h).
    db.given(
        "episode",
        """
        episode_id | removed_h | removal_reason
        e1         | 69        | completed
        e2         | 76.75     | completed
        e3         | 77        | completed
        e4         | 68        | completed
        """,
    )
    db.expect("removed_by_day", "episode_id | numerator\n e1 | 1\n e2 | 1\n e3 | 0\n e4 | 0")


def test_the_hour_of_a_planned_removal_is_a_setting(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 78 | completed")
    put_settings(db.connection, Settings(removal_by_hour=16))
    db.expect("removed_by_day", "episode_id | numerator\n e1 | 1")


def test_removed_by_day_is_about_completed_removals_at_home_with_a_clock_hour(db):
    db.given(
        "episode",
        """
        episode_id | placed_hour | discharged_h | removed_h | removed_after_h | removed_before_h | removal_reason
        e1         |             | 6            | 72        |                 |                  | completed
        e2         | 9           | 6            |           | 60              | 72               | completed
        e3         | 9           | 6            | 72        |                 |                  | leakage
        e4         | 9           | 80           | 72        |                 |                  | completed
        e5         | 9           | 6            | 72        |                 |                  |
        """,
    )
    db.expect(
        "removed_by_day",
        """
        episode_id | numerator | denominator
        e1         |           | 1
        e2         |           | 1
        e3         |           | 0
        e4         |           | 0
        e5         |           |
        """,
    )


def ceilings(db, *more):
    """Set 0.4 mg/kg/h of ropivacaine at every age, and what else is given."""
    local = (DoseCeiling("ropivacaine", 0, 22, 0.4), *more)
    put_settings(db.connection, Settings(dose_ceilings=local))


def test_the_dose_is_concentration_times_rate_by_weight(db):
    # 0.2% is 2 mg/ml: 8 ml/h in 40 kg is 0.4 mg/kg/h, at the ceiling and so within it.
    ceilings(db)
    db.given(
        "episode",
        """
        episode_id | weight_kg | drug        | concentration_pct | rate_ml_h
        e1         | 40        | ropivacaine | 0.2               | 8
        e2         | 40        | ropivacaine | 0.2               | 8.1
        e3         |           | ropivacaine | 0.2               | 8
        e4         | 40        |             | 0.2               | 8
        """,
    )
    db.expect(
        "dose_within_ceiling",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         | 0         | 1
        e3         |           | 1
        e4         |           | 1
        """,
    )


def test_a_ceiling_is_for_its_drug_and_its_ages(db):
    young, old = DoseCeiling("bupivacaine", 0, 1, 0.2), DoseCeiling("bupivacaine", 1, 22, 0.3)
    ceilings(db, young, old)
    db.given(
        "episode",
        """
        episode_id | age_years | weight_kg | drug        | concentration_pct | rate_ml_h
        e1         | 0         | 10        | bupivacaine | 0.1               | 2.5
        e2         | 1         | 10        | bupivacaine | 0.1               | 2.5
        e3         |           | 10        | bupivacaine | 0.1               | 2.5
        e4         | 10        | 40        | lidocaine   | 1                 | 8
        """,
    )
    db.expect(
        "dose_within_ceiling",
        """
        episode_id | numerator | denominator
        e1         | 0         | 1
        e2         | 1         | 1
        e3         |           | 1
        e4         |           | 0
        """,
    )


def test_without_a_ceiling_no_dose_is_counted(db):
    db.given(
        "episode", "episode_id | drug | concentration_pct | rate_ml_h\n e1 | ropivacaine | 0.2 | 6"
    )
    db.expect("dose_within_ceiling", "episode_id | numerator | denominator\n e1 | | 0")


def test_the_bolus_is_part_of_the_dose_spread_over_24_h(db):
    # 6 ml/h of 0.2% in 40 kg is 0.3 mg/kg/h; 96 mg over 24 h add 0.1, and 120 mg 0.125.
    ceilings(db)
    db.given(
        "episode",
        """
        episode_id | drug        | concentration_pct | rate_ml_h | bolus_mg
        e1         | ropivacaine | 0.2               | 6         | 96
        e2         | ropivacaine | 0.2               | 6         | 120
        """,
    )
    db.expect("dose_within_ceiling", "episode_id | numerator\n e1 | 1\n e2 | 0")


def test_catheters_in_place_at_the_same_time_in_one_child_add_up(db):
    # 0.25 of 0.4 and 0.1 of 0.2 mg/kg/h: more than the whole ceiling.
    ceilings(db, DoseCeiling("bupivacaine", 0, 22, 0.2))
    db.given(
        "episode",
        """
        episode_id | operation_key | drug        | concentration_pct | rate_ml_h
        e1         | o1            | ropivacaine | 0.2               | 5
        e2         | o1            | bupivacaine | 0.1               | 4
        e3         |               | ropivacaine | 0.2               | 5
        e4         | o2            | ropivacaine | 0.2               | 5
        e5         | o2            | ropivacaine | 0.2               |
        """,
    )
    db.expect(
        "dose_within_ceiling",
        """
        episode_id | numerator
        e1         | 0
        e2         | 0
        e3         | 1
        e4         |
        e5         |
        """,
    )


def test_the_pump_must_last_for_the_planned_course(db):
    db.given(
        "episode",
        """
        episode_id | planned_dwell_h | reservoir_ml | rate_ml_h
        e1         | 72              | 432          | 6
        e2         | 72              | 400          | 6
        e3         | 72              |              | 6
        e4         | 72              | 400          | 0
        """,
    )
    db.expect(
        "runtime_covers_course",
        """
        episode_id | numerator
        e1         | 1
        e2         | 0
        e3         |
        e4         |
        """,
    )


def test_family_calls_count_whether_or_not_they_were_answered(db):
    db.given(
        "contact",
        """
        episode_id | at_h | direction | reached
        e1         | 20   | service   | yes
        e1         | 25   | family    | yes
        e1         | 30   | family    | no
        e2         | 20   | service   | yes
        """,
    )
    db.expect("family_calls", "episode_id | numerator | denominator\n e1 | 2 | 3\n e2 | 0 | 3")


def test_calls_answered_within_15_minutes(db):
    db.given(
        "contact",
        """
        episode_id | direction | reached | minutes_to_answer
        e1         | family    | yes     | 15
        e1         | family    | yes     | 16
        e1         | family    | no      |
        e1         | family    | yes     |
        e1         | service   | yes     |
        e2         | family    | yes     |
        e3         | service   | yes     |
        """,
    )
    # An answered call without a time is left out; one never answered was not answered in time.
    db.expect(
        "answered_in_time",
        """
        episode_id | numerator | denominator
        e1         | 1         | 3
        e2         |           | 1
        e3         |           | 0
        """,
    )


def test_the_minutes_to_answer_are_a_setting(db):
    db.given("contact", "direction | minutes_to_answer\n family | 16\n family | 21")
    put_settings(db.connection, Settings(answer_minutes=20))
    db.expect("answered_in_time", "episode_id | numerator | denominator\n e1 | 1 | 2")


def test_night_calls_are_from_22_to_6_by_the_clock(db):
    # Placed at 09:00: 22:00 is 13 h later, 06:00 is 21 h later.
    db.given(
        "contact",
        """
        episode_id | at_h | direction
        e1         | 12.9 | family
        e1         | 13   | family
        e1         | 20.9 | family
        e1         | 21   | family
        e1         | 37   | family
        e1         | 14   | service
        """,
    )
    db.expect("night_calls", "episode_id | numerator\n e1 | 3")


def test_a_call_at_an_unknown_clock_hour_is_not_known_to_be_by_day(db):
    db.given("episode", "episode_id | placed_hour\n e1 | \n e2 | ")
    db.given("contact", "episode_id | direction\n e1 | family\n e2 | service")
    db.expect("night_calls", "episode_id | numerator\n e1 | \n e2 | 0")


def test_lasting_nerve_symptoms_are_counted_of_those_reached_at_follow_up(db):
    db.given(
        "contact",
        """
        episode_id | at_h | contact_kind | reached | lasting_numbness | lasting_weakness | lasting_pain
        e1         | 400  | follow_up    | yes     | yes              | no               | no
        e2         | 400  | follow_up    | yes     | no               | yes              |
        e3         | 400  | follow_up    | yes     |                  |                  | yes
        e4         | 400  | follow_up    | yes     | no               | no               | no
        e5         | 400  | follow_up    | no      |                  |                  |
        e6         | 400  | follow_up    | yes     |                  |                  |
        e7         | 20   |              | yes     | yes              |                  |
        """,
    )
    db.expect(
        "lasting_nerve_symptoms",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         | 1         | 1
        e3         | 1         | 1
        e4         | 0         | 1
        e5         |           | 1
        e6         |           | 1
        e7         |           | 0
        """,
    )


def test_a_follow_up_contact_is_no_planned_call_of_the_course(db):
    db.given(
        "contact",
        """
        episode_id | at_h | direction | contact_kind | opioid_doses | pain_score
        e1         | 60   | service   |              | 0            | 2
        e1         | 400  | service   | follow_up    |              | 9
        e1         | 401  | family    | follow_up    |              |
        """,
    )
    db.expect("opioid_free", "episode_id | numerator\n e1 | 1")
    db.expect("severe_pain", "episode_id | numerator\n e1 | 0")
    db.expect("family_calls", "episode_id | numerator\n e1 | 0")


def test_a_pump_that_emptied_early_ran_on_came_apart_or_leaked_is_a_problem(db):
    db.given(
        "episode",
        """
        episode_id | pump_problem
        e1         | none
        e2         | emptied_early
        e3         | ran_on
        e4         | disconnected
        e5         | leaked
        e6         |
        """,
    )
    db.expect(
        "pump_problem",
        """
        episode_id | numerator
        e1         | 0
        e2         | 1
        e3         | 1
        e4         | 1
        e5         | 1
        e6         |
        """,
    )


def test_rebound_pain_is_a_score_of_7_or_more_after_removal(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | last_known_in_place_h | rebound_pain_score
        e1         | 72        |                       | 7
        e2         | 72        |                       | 6
        e3         | 72        |                       |
        e4         |           | 50                    |
        """,
    )
    db.expect(
        "rebound_pain",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         | 0         | 1
        e3         |           | 1
        e4         |           | 0
        """,
    )


def test_a_satisfied_family_gives_8_or_more(db):
    db.given("episode", "episode_id | satisfaction_score\n e1 | 8\n e2 | 7\n e3 | ")
    db.expect("satisfaction", "episode_id | numerator\n e1 | 1\n e2 | 0\n e3 | ")


def test_a_limb_aid_is_for_arms_and_legs(db):
    db.given(
        "episode",
        """
        episode_id | nerve_target | limb_aid_given
        e1         | femoral      | yes
        e2         | axillary     | no
        e3         | femoral      |
        e4         | trunk_wall   | no
        """,
    )
    db.expect(
        "limb_aid_given",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         | 0         | 1
        e3         |           | 1
        e4         |           | 0
        """,
    )
