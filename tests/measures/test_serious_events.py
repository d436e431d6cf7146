"""The view `serious_event`: what is listed, and what is not reviewed."""


def test_recorded_events_are_listed_with_their_review(db):
    db.given(
        "event",
        """
        event_id | episode_id | at_h | kind                | reviewed | reviewed_month
        v1       | e1         | 30   | toxicity_treated    | yes      | 2025-05
        v2       | e1         | 40   | compartment_warning | no       |
        v3       | e2         | 50   | fall_injury         |          |
        """,
    )
    db.expect(
        "serious_event",
        """
        event_key | site   | at_h | kind                | source | is_reviewed | reviewed_month
        v1        | avocet | 30   | toxicity_treated    | event  | yes         | 2025-05
        v2        | avocet | 40   | compartment_warning | event  | no          |
        v3        | avocet | 50   | fall_injury         | event  | no          |
        """,
    )


def test_an_emergency_symptom_that_nobody_recorded_is_an_event_not_reviewed(db):
    db.given(
        "contact", "episode_id | at_h | seizure\n e1 | 20 | yes\n e1 | 21 | yes\n e2 | 20 | no"
    )
    db.expect(
        "serious_event",
        """
        episode_id | at_h | kind              | source  | is_reviewed
        e1         | 20   | emergency_symptom | contact | no
        """,
    )


def test_an_emergency_symptom_recorded_as_an_event_is_listed_once(db):
    db.given("contact", "episode_id | at_h | seizure\n e1 | 20 | yes\n e2 | 20 | yes")
    db.given(
        "event",
        """
        episode_id | at_h | kind              | reviewed
        e1         | 20   | emergency_symptom | yes
        e2         | 20   | toxicity_treated  | no
        """,
    )
    db.expect("serious_event", "episode_id | source\n e1 | event\n e2 | event")


def test_lasting_symptoms_told_at_follow_up_are_an_event(db):
    db.given(
        "contact", "episode_id | at_h | contact_kind | lasting_pain\n e1 | 400 | follow_up | yes"
    )
    db.expect("serious_event", "episode_id | kind\n e1 | lasting_nerve_symptom")


def test_a_readmission_is_an_event_unless_it_was_for_something_else(db):
    db.given(
        "visit",
        """
        episode_id | kind                 | relation
        e1         | readmission          | pain
        e2         | readmission          | uncertain
        e3         | readmission          | surgery
        e4         | emergency_department | pain
        """,
    )
    db.expect("serious_event", "episode_id | kind\n e1 | readmission\n e2 | readmission")


def test_a_catheter_with_two_events_counts_once(db):
    db.given("episode", "episode_id\n e1\n e2")
    db.given("event", "episode_id | kind\n e1 | fall_injury\n e1 | infection_treated")
    db.expect("serious_events", "episode_id | numerator | denominator\n e1 | 1 | 1\n e2 | 0 | 1")
