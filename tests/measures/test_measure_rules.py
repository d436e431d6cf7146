"""The rules of the measures, one a test, in tables that a clinician can read."""


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
