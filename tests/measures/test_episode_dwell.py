"""The view `episode_dwell`: time in place and how it ended."""

# ruff: noqa: E501 (a row of a table stays on one line)
from pipeline.records.codes import LIMB_OF_NERVE


def test_an_exact_time_comes_before_an_interval_and_that_before_last_known(db):
    db.given(
        "episode",
        """
        episode_id | removed_h | removed_after_h | removed_before_h | last_known_in_place_h
        e1         | 50        | 40              | 60               |
        e2         |           | 40              | 60               |
        e3         |           |                 |                  | 30
        e4         |           |                 |                  |
        """,
    )
    db.expect(
        "episode_dwell",
        """
        episode_id | dwell_h | left_h | right_h | dwell_basis | is_removed | is_dwell_known
        e1         | 50      | 50     | 50      | exact       | yes        | yes
        e2         | 50      | 40     | 60      | interval    | yes        | yes
        e3         | 30      | 30     |         | last_known  | no         | yes
        e4         |         |        |         | unknown     | no         | no
        """,
    )


def test_a_removal_of_which_only_the_discovery_is_known_was_after_going_home(db):
    db.given(
        "episode",
        """
        episode_id | discharged_h | removed_before_h | last_known_in_place_h
        e1         | 6            | 30               |
        e2         |              | 30               |
        e3         | 6            | 30               | 20
        e4         | 40           | 30               |
        """,
    )
    db.expect(
        "episode_dwell",
        """
        episode_id | left_h | right_h | dwell_h
        e1         | 6      | 30      | 18
        e2         | 0      | 30      | 15
        e3         | 20     | 30      | 25
        e4         | 30     | 30      | 30
        """,
    )


def test_known_only_to_be_in_place_at_some_time_is_censored_then(db):
    db.given(
        "episode",
        """
        episode_id | removed_after_h | last_known_in_place_h | removal_reason
        e1         | 40              |                       | leakage
        e2         | 40              | 50                    |
        """,
    )
    db.expect(
        "episode_dwell",
        """
        episode_id | dwell_h | is_removed | reason
        e1         | 40      | no         | leakage
        e2         | 50      | no         |
        """,
    )


def test_a_removal_without_a_reason_stays_in_sight(db):
    db.given("episode", "episode_id | removed_h | removal_reason\n e1 | 50 |\n e2 | 50 | other")
    db.expect("episode_dwell", "episode_id | reason\n e1 | not_recorded\n e2 | other")


def test_quarters_and_age_bands(db):
    db.given(
        "episode",
        """
        episode_id | placed_month | age_years
        e1         | 2025-01      | 0
        e2         | 2025-03      | 2
        e3         | 2025-04      | 3
        e4         | 2025-09      | 11
        e5         | 2025-10      | 17
        e6         | 2025-12      | 18
        e7         | 2025-12      |
        """,
    )
    db.expect(
        "episode_dwell",
        """
        episode_id | placed_quarter | age_band
        e1         | 2025-Q1        | 00-02
        e2         | 2025-Q1        | 00-02
        e3         | 2025-Q2        | 03-05
        e4         | 2025-Q3        | 06-11
        e5         | 2025-Q4        | 12-17
        e6         | 2025-Q4        | 18-21
        e7         | 2025-Q4        |
        """,
    )


def test_the_limb_of_each_nerve_is_that_of_the_record_layout(db):
    for nerve in LIMB_OF_NERVE:
        db.given("episode", f"episode_id | nerve_target\n {nerve.value} | {nerve.value}")
    found = dict(db.rows("select nerve_target, limb from episode_dwell"))
    assert found == {
        nerve.value: limb.value if limb else None for nerve, limb in LIMB_OF_NERVE.items()
    }


def test_days_at_home_begin_with_going_home(db):
    db.given(
        "episode",
        """
        episode_id | discharged_h | removed_h
        e1         | 6            | 78
        e2         |              | 72
        e3         | 80           | 72
        """,
    )
    db.expect(
        "episode_dwell",
        """
        episode_id | catheter_days | home_catheter_days
        e1         | 3.25          | 3
        e2         | 3             |
        e3         | 3             | 0
        """,
    )


def test_a_site_is_labelled_and_a_child_without_a_key_is_one_child(db):
    db.given("site", "site | label\n avocet | Avocet House")
    db.given("episode", "episode_id | patient_key\n e1 | p1\n e2 | ")
    db.expect(
        "episode_dwell",
        """
        episode_id | site_label   | child_key
        e1         | Avocet House | p1
        e2         | Avocet House | e2
        """,
    )


def test_a_very_long_time_in_place_has_no_more_than_15_days_at_home(db):
    db.given("episode", "episode_id | discharged_h | last_known_in_place_h\n e1 | 6 | 2000")
    db.given("contact", "episode_id | at_h\n e1 | 30\n e1 | 1500")
    db.expect("contact_summary", "episode_id | home_days | home_days_reached\n e1 | 15 | 1")


def test_a_quarter_of_a_site_adds_up_its_episodes(db):
    db.given(
        "episode",
        """
        episode_id | patient_key | removed_h | removal_reason
        e1         | p1          | 72        | completed
        e2         | p1          | 24        | dislodged
        """,
    )
    db.given("contact", "episode_id | direction\n e1 | family\n e2 | service")
    db.expect(
        "site_quarter",
        """
        site   | placed_quarter | catheters | children | catheter_days | completed | dislodged | removed_early | contacts | family_calls
        avocet | 2025-Q2        | 2         | 1        | 4             | 1         | 1         | 1             | 2        | 1
        """,
    )
