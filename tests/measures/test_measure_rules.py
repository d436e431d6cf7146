"""The rules of the measures, one a test, in tables that a clinician can read."""


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
    db.expect("leakage", "episode_id | numerator | denominator\n e1 | 1 | 3")


def test_each_contact_with_large_leakage_counts(db):
    db.given(
        "contact",
        """
        episode_id | at_h | leakage
        e1         | 20   | large
        e1         | 44   | large
        e2         | 20   | none
        """,
    )
    db.expect("leakage", "episode_id | numerator\n e1 | 2\n e2 | 0")


def test_a_contact_that_did_not_reach_the_family_ascertains_nothing(db):
    db.given(
        "contact",
        """
        episode_id | at_h | reached | leakage | dressing | tinnitus | redness_swelling | fell
        e1         | 20   | no      | large   | exposed  | yes      | yes              | yes
        """,
    )
    for measure in (
        "leakage", "dressing_failure", "toxicity_calls", "toxicity_urgent",
        "infection_signs", "falls_lower_limb", "severe_pain", "opioid_free",
    ):  # fmt: skip
        db.expect(measure, "episode_id | numerator\n e1 | ")


def test_a_question_not_asked_is_missing_and_not_zero(db):
    db.given("contact", "episode_id | at_h\n e1 | 20")
    for measure in (
        "leakage", "dressing_failure", "toxicity_calls", "toxicity_urgent",
        "infection_signs", "falls_lower_limb", "severe_pain", "opioid_free",
    ):  # fmt: skip
        db.expect(measure, "episode_id | numerator\n e1 | ")


def test_leakage_of_a_catheter_of_unknown_dwell_has_no_denominator(db):
    db.given("episode", "episode_id | removed_h\n e1 | ")
    db.given("contact", "episode_id | leakage\n e1 | large")
    db.expect("leakage", "episode_id | denominator\n e1 | ")


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


def test_a_contact_takes_its_highest_tier(db):
    db.given(
        "contact",
        """
        contact_id | breathing_difficulty | unresponsive | perioral_numbness | tinnitus | agitation | metallic_taste
        c1         | yes                  |              |                   | yes      |           | yes
        c2         |                      | yes          |                   |          |           |
        c3         |                      |              | yes               |          |           | yes
        c4         |                      |              |                   | yes      |           |
        c5         |                      |              |                   |          | yes       |
        c6         |                      |              | no                |          |           | yes
        c7         | no                   | no           | no                | no       | no        | no
        c8         |                      |              |                   |          |           |
        """,
    )
    db.expect(
        "contact_tier",
        """
        contact_id | tier      | has_toxicity_symptom
        c1         | emergency | yes
        c2         | emergency | yes
        c3         | urgent    | yes
        c4         | urgent    | yes
        c5         | urgent    | yes
        c6         | call      | yes
        c7         | none      | no
        c8         |           |
        """,
    )


def test_metallic_taste_alone_is_a_toxicity_call_and_not_urgent(db):
    db.given(
        "contact",
        """
        episode_id | metallic_taste | tinnitus
        e1         | yes            |
        e2         | yes            | yes
        e3         | no             | no
        """,
    )
    db.expect("toxicity_calls", "episode_id | numerator\n e1 | 1\n e2 | 1\n e3 | 0")
    db.expect("toxicity_urgent", "episode_id | numerator\n e1 | 0\n e2 | 1\n e3 | 0")


def test_every_contact_with_a_symptom_counts(db):
    db.given(
        "contact", "episode_id | at_h | agitation\n e1 | 20 | yes\n e1 | 21 | yes\n e1 | 44 | no"
    )
    db.expect("toxicity_calls", "episode_id | numerator | denominator\n e1 | 2 | 3")


def test_redness_told_twice_is_one_catheter_with_signs_of_infection(db):
    db.given(
        "contact",
        "episode_id | at_h | redness_swelling\n e1 | 20 | yes\n e1 | 44 | yes\n e2 | 20 | no",
    )
    db.expect("infection_signs", "episode_id | numerator\n e1 | 1\n e2 | 0")


def test_removal_for_infection_counts_without_any_contact(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 48 | infection_signs")
    db.expect("infection_signs", "episode_id | numerator | denominator\n e1 | 1 | 2")


def test_only_visits_for_catheter_or_pain_within_7_days_count(db):
    db.given(
        "visit",
        """
        episode_id | at_h | relation
        e1         | 50   | catheter
        e2         | 168  | pain
        e3         | 169  | catheter
        e4         | 50   | surgery
        e5         | 50   | unrelated
        e6         | 50   | uncertain
        e7         | 50   | pain
        e7         | 60   | pain
        """,
    )
    db.expect(
        "unplanned_visit",
        """
        episode_id | numerator
        e1         | 1
        e2         | 1
        e3         | 0
        e4         | 0
        e5         | 0
        e6         | 0
        e7         | 1
        """,
    )


def test_a_child_not_followed_for_7_days_is_missing_with_or_without_a_visit(db):
    db.given(
        "episode",
        """
        episode_id | followed_until_h
        e1         | 167
        e2         | 100
        e3         |
        e4         | 168
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
        """,
    )


def test_resistance_sharp_pain_and_fragments_are_difficult_removals(db):
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
        e4         | 1         | 1
        e5         |           | 1
        """,
    )


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
        e1         | 2         | 3
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


def test_removed_by_day_is_from_6_to_4_hours_before_the_evening_meal(db):
    # Placed at 09:00, the meal at 18:00: from 06:00 (69 h) to 14:00 (77 h).
    db.given(
        "episode",
        """
        episode_id | removed_h | removal_reason
        e1         | 69        | completed
        e2         | 77        | completed
        e3         | 78        | completed
        e4         | 68        | completed
        """,
    )
    db.expect("removed_by_day", "episode_id | numerator\n e1 | 1\n e2 | 1\n e3 | 0\n e4 | 0")


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


def test_the_dose_is_concentration_times_rate_by_weight(db):
    # 0.2% is 2 mg/ml: 8 ml/h in 40 kg is 0.4 mg/kg/h, at the ceiling and so within it.
    db.given(
        "episode",
        """
        episode_id | age_years | weight_kg | drug          | concentration_pct | rate_ml_h
        e1         | 10        | 40        | ropivacaine   | 0.2               | 8
        e2         | 10        | 40        | ropivacaine   | 0.2               | 8.1
        e3         | 0         | 6         | bupivacaine   | 0.1               | 1.3
        e4         | 10        |           | ropivacaine   | 0.2               | 8
        e5         |           | 40        | ropivacaine   | 0.2               | 8
        e6         | 10        | 40        |               | 0.2               | 8
        e7         | 10        | 40        | lidocaine     | 1                 | 8
        """,
    )
    db.expect(
        "dose_within_ceiling",
        """
        episode_id | numerator | denominator
        e1         | 1         | 1
        e2         | 0         | 1
        e3         | 0         | 1
        e4         |           | 1
        e5         |           | 1
        e6         |           | 1
        e7         |           | 0
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
        "answered_in_15_min",
        """
        episode_id | numerator | denominator
        e1         | 1         | 3
        e2         |           | 1
        e3         |           | 0
        """,
    )


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
