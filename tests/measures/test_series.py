"""Counts by month and group."""

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.events import event_order
from pipeline.measures.series import series
from pipeline.measures.where import EVERYTHING
from pipeline.settings import SYMPTOM_TIERS, DoseCeiling, Settings
from pipeline.store import Store, open_store
from pipeline.store.settings_tables import NUMBERS


class StoreInMemory(Store):
    """The test's database as a store, with a date of extraction."""

    def __init__(self, connection, as_of=dt.date(2026, 1, 1)):
        super().__init__(connection, Path("memory"))
        self._as_of = as_of

    def as_of(self):
        return self._as_of


@pytest.fixture
def store(db):
    db.keeps_ready = True
    return StoreInMemory(db.connection)


EPISODES = """
    episode_id | site     | placed_month | interpreter_needed | removed_h | removal_reason
    e1         | avocet   | 2025-01      | no                 | 30        | dislodged
    e2         | avocet   | 2025-01      | no                 | 72        | completed
    e3         | dunlin   | 2025-01      | yes                | 72        |
    e4         | avocet   | 2025-04      |                    | 72        | completed
"""


def test_an_episode_counts_in_its_month_of_placement(db, store):
    db.given("episode", EPISODES)
    frame = series(store, "dislodgement")
    assert frame.filter(month="2025-01").row(0, named=True) == {
        "measure": "dislodgement",
        "month": "2025-01",
        "numerator": 1,
        "denominator": 2.0,
        "episodes": 3,
        "ascertained": 2,
        "with_event": 1,
        "missing_denominator": 1.0,
        "provisional": False,
    }


def test_months_in_which_nothing_was_placed_are_rows_of_zeros(db, store):
    db.given("episode", EPISODES)
    frame = series(store, "dislodgement", by=("month", "site"))
    assert frame["month"].unique().sort().to_list() == ["2025-01", "2025-02", "2025-03", "2025-04"]
    assert len(frame) == 8
    empty = frame.filter(month="2025-02", site="dunlin").row(0, named=True)
    assert (empty["episodes"], empty["denominator"], empty["numerator"]) == (0, 0.0, 0)


def test_quarters_add_up_their_months(db, store):
    db.given("episode", EPISODES)
    frame = series(store, "dislodgement", by=("quarter",))
    assert frame.select("quarter", "denominator").rows() == [("2025-Q1", 2.0), ("2025-Q2", 1.0)]


def test_the_total_of_all_sites_is_the_sum_of_the_sites(db, store):
    db.given("episode", EPISODES)
    names = list(load_catalogue())
    frame = series(store, names, by=("month", "site"), with_total=True)
    whole = frame.filter(site="all").drop("site")
    assert whole.equals(series(store, names, by=("month",)))
    parts = (
        frame.filter(frame["site"] != "all")
        .group_by("measure", "month")
        .agg(pl.col("episodes").sum())
    )
    both = whole.join(parts, on=["measure", "month"])
    assert (both["episodes"] == both["episodes_right"]).all()


def test_groups_without_a_value_are_said_to_be_not_recorded(db, store):
    db.given("episode", EPISODES)
    frame = series(store, "dislodgement", by=("interpreter_needed",))
    assert dict(frame.select("interpreter_needed", "episodes").rows()) == {
        "no": 2, "yes": 1, "not_recorded": 1
    }  # fmt: skip


def test_without_groups_there_is_one_row_a_measure(db, store):
    db.given("episode", EPISODES)
    frame = series(store, ["leakage", "dislodgement"], by=())
    assert frame["measure"].to_list() == ["dislodgement", "leakage"]
    assert frame["episodes"].to_list() == [4, 4]


@pytest.mark.parametrize(
    ("where", "episodes"),
    [
        ({"site": "avocet"}, 3),
        ({"site": ["avocet", "dunlin"]}, 4),
        ({"interpreter_needed": True}, 1),
        ({"interpreter_needed": None}, 1),
        ({"interpreter_needed": [False, None]}, 3),
        ({"site": "avocet", "interpreter_needed": False}, 2),
    ],
)
def test_episodes_can_be_chosen(db, store, where, episodes):
    db.given("episode", EPISODES)
    assert series(store, "dislodgement", by=(), where=where)["episodes"].item() == episodes


def test_a_site_called_like_sql_is_only_a_value(db, store):
    db.given("episode", EPISODES)
    with pytest.raises(NoDataError):
        series(store, "dislodgement", by=(), where={"site": "x' or '1'='1"})


def test_months_can_be_chosen(db, store):
    db.given("episode", EPISODES)
    assert (
        series(store, "dislodgement", by=(), months=("2025-02", "2025-12"))["episodes"].item() == 1
    )


def test_a_month_is_provisional_until_its_follow_up_is_over(db):
    db.keeps_ready = True
    db.given("episode", "episode_id | placed_month\n e1 | 2025-11\n e2 | 2025-12")
    store = StoreInMemory(db.connection, dt.date(2026, 1, 5))
    frame = series(store, ["leakage", "unplanned_visit", "runtime_covers_course"])
    provisional = frame.filter(frame["provisional"]).select("measure", "month").rows()
    assert provisional == [("unplanned_visit", "2025-12")]


def test_a_quarter_is_provisional_until_its_last_month_is_final(db):
    db.keeps_ready = True
    db.given("episode", "episode_id | placed_month\n e1 | 2025-10")
    store = StoreInMemory(db.connection, dt.date(2026, 1, 4))
    assert series(store, "leakage", by=("quarter",))["provisional"].to_list() == [True]
    assert series(store, "leakage", by=("site",))["provisional"].to_list() == [False]


def test_an_episode_that_a_measure_does_not_apply_to_is_not_missing(db, store):
    db.given("episode", "episode_id | nerve_target\n e1 | femoral\n e2 | interscalene")
    db.given("contact", "episode_id | fell\n e1 | no\n e2 | yes")
    row = series(store, "falls_lower_limb", by=()).row(0, named=True)
    assert (row["episodes"], row["ascertained"], row["numerator"]) == (1, 1, 0)


def test_the_same_records_give_the_same_sums_to_the_last_digit(db, store):
    db.given("episode", "episode_id | removed_h\n e1 | 0.1\n e2 | 0.2\n e3 | 71.3")
    db.given("contact", "episode_id | leakage\n e1 | none\n e2 | none\n e3 | none")
    days = series(store, "family_calls", by=())["denominator"].item()
    assert days == round(71.6 / 24, 6)


def test_settings_change_the_rules_that_read_them(db, store):
    db.given(
        "episode", "episode_id | drug | concentration_pct | rate_ml_h\n e1 | ropivacaine | 0.2 | 6"
    )

    def count(name, **local):
        settings = Settings(**local)
        return series(store, name, by=(), settings=settings)["numerator"].to_list()

    assert count("dose_within_ceiling") == [0]
    wide, strict = (DoseCeiling("ropivacaine", 0, 22, dose) for dose in (0.4, 0.25))
    assert count("dose_within_ceiling", dose_ceilings=(wide,)) == [1]
    assert count("dose_within_ceiling", dose_ceilings=(strict,)) == [0]
    assert count("removed_by_day") == [1]
    assert count("removed_by_day", removal_by_hour=8) == [0]


def test_the_tiers_of_the_settings_make_serious_events(db, store):
    db.given("contact", "episode_id | drowsy\n e1 | yes")
    urgent = Settings(symptom_tiers=SYMPTOM_TIERS | {"drowsy": "emergency"})
    found = [
        series(store, name, by=(), settings=settings)["numerator"].item()
        for settings in (None, urgent, None)
        for name in ("serious_events", "emergency_symptoms")
    ]
    assert found == [0, 0, 1, 1, 0, 0]


def test_the_defaults_in_the_store_are_those_of_the_settings(db):
    defaults = Settings()
    numbers = {name: getattr(defaults, name) for name in NUMBERS}
    assert dict(db.rows("select * from setting")) == numbers
    assert db.rows("select * from dose_ceiling") == list(defaults.dose_ceilings)
    assert dict(db.rows("select * from symptom_tier")) == defaults.symptom_tiers


def test_measure_month_in_the_store_agrees_with_the_series(db, store):
    db.given("episode", EPISODES)
    db.given(
        "contact", "episode_id | leakage | direction\n e1 | large | family\n e2 | none | service"
    )
    frame = series(store, list(load_catalogue()))
    columns = ["measure", "month", "numerator", "denominator", "episodes", "ascertained"]
    ours = frame.filter(frame["episodes"] > 0).select(columns).rows()
    theirs = db.rows(
        "select measure, placed_month, numerator, denominator, episodes, ascertained"
        " from measure_month order by measure, placed_month"
    )
    assert ours == theirs


def test_an_unknown_group_or_measure_is_refused(db, store):
    db.given("episode", EPISODES)
    with pytest.raises(UsageError, match="grouped by shoe_size"):
        series(store, "dislodgement", by=("shoe_size",))
    with pytest.raises(UsageError, match="grouped by shoe_size"):
        series(store, "dislodgement", where={"shoe_size": 1})
    with pytest.raises(UsageError, match="no measure"):
        series(store, "shoe_size")


def test_a_store_without_episodes_has_no_series(store):
    with pytest.raises(NoDataError):
        series(store, "dislodgement")


def test_events_stand_on_the_running_count_of_catheters_and_days(db, store):
    db.given(
        "episode",
        """
        episode_id | placed_month | month_order | removed_h | removal_difficulty
        e3         | 2025-02      | 1           | 24        | sharp_pain
        e1         | 2025-01      | 1           | 72        | none
        e4         | 2025-02      | 2           | 48        | none
        e2         | 2025-01      | 2           | 48        | resistance
        """,
    )
    frame = event_order(store, "difficult_removal")
    assert frame.select("month", "numerator", "catheters", "catheter_days").rows() == [
        ("2025-01", 1, 2, 5.0),
        ("2025-02", 1, 3, 6.0),
        ("2025-02", 0, 4, 8.0),
    ]


def test_event_order_leaves_out_what_is_not_ascertained(db, store):
    db.given(
        "episode",
        """
        episode_id | month_order | removed_h | removal_difficulty
        e1         | 1           | 72        |
        e2         | 2           | 72        | resistance
        """,
    )
    assert event_order(store, "difficult_removal")["catheters"].to_list() == [1]


def test_event_order_of_one_site(db, store):
    db.given(
        "episode",
        """
        episode_id | site   | removed_h | removal_difficulty
        e1         | avocet | 72        | resistance
        e2         | dunlin | 72        | resistance
        """,
    )
    frame = event_order(store, "difficult_removal", where={"site": "dunlin"})
    assert frame["catheters"].to_list() == [1]


def test_events_of_each_site_stand_on_its_own_running_count(db, store):
    db.given("episode", EPISODES)
    by_site = event_order(store, "dislodgement", by="site")
    assert by_site.rows() == [
        ("dislodgement", "avocet", "2025-01", 1, 1, 1.25, False),
        ("dislodgement", "avocet", "2025-04", 0, 3, 7.25, False),
    ]


@pytest.mark.parametrize("by", [(), ("month",), ("month", "site"), ("quarter", "site"), ("site",)])
def test_what_is_counted_ready_is_what_the_episodes_give(demonstration, by):
    """A condition that holds for every episode makes the counts anew from the episodes."""
    names = list(load_catalogue())
    anew = {"whatever": EVERYTHING}
    with open_store(demonstration / "dwell.duckdb") as store:
        for more in (
            {},
            {"months": ("2025-02", "2025-07")},
            {"settings": Settings(removal_by_hour=16, answer_minutes=5)},
        ):
            kept = series(store, names, by, with_total=True, **more)
            assert kept.equals(series(store, names, by, where=anew, with_total=True, **more))
