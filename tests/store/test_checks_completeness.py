"""Checks over what is stored, and how complete it is."""

from pathlib import Path

import pytest

from pipeline.resources import resource
from pipeline.store import open_store
from pipeline.store.checks import run_checks, store_checks
from pipeline.store.completeness import completeness
from tests.store.small import CONTACT, EPISODE, SITE, VISIT, contact, episode, load, write


def found(db, name: str) -> list[tuple]:  # type: ignore[type-arg, no-untyped-def]
    """Return what one check finds in the small store of the `db` fixture."""
    (check,) = [check for check in store_checks() if check.name == name]
    return sorted(db.rows(check.sql))


def test_each_check_is_named_after_its_file() -> None:
    names = [path.stem for path in sorted(resource("sql", "checks").glob("*.sql"))]
    assert [check.name for check in store_checks()] == names


def test_an_ordinary_store_passes_every_check(db) -> None:  # type: ignore[no-untyped-def]
    db.given("episode", "episode_id | month_order\ne1 | 1")
    db.given("contact")
    db.given("visit")
    assert {check.name: db.rows(check.sql) for check in store_checks()} == {
        check.name: [] for check in store_checks()
    }


def test_removal_before_last_known_in_place(db) -> None:  # type: ignore[no-untyped-def]
    db.given(
        "episode",
        """
        episode_id | removed_h | removed_before_h | last_known_in_place_h
        e1         | 40        |                  | 50
        e2         |           | 40               | 50
        e3         | 60        |                  | 50
        """,
    )
    keys = [key for _, _, key in found(db, "removal_before_last_known_in_place")]
    assert keys == ["e1", "e2"]


def test_a_report_on_the_dressing_after_removal(db) -> None:  # type: ignore[no-untyped-def]
    db.given("episode", "episode_id | removed_h\ne1 | 40")
    db.given(
        "contact",
        """
        contact_id | episode_id | at_h | dressing
        c1         | e1         | 30   | intact
        c2         | e1         | 50   | intact
        c3         | e1         | 50   |
        """,
    )
    assert found(db, "contact_after_removal") == [("avocet", "contact", "c2")]


def test_a_visit_after_the_end_of_follow_up(db) -> None:  # type: ignore[no-untyped-def]
    db.given("episode", "episode_id | followed_until_h\ne1 | 100")
    db.given("visit", "visit_id | episode_id | at_h\nv1 | e1 | 99\nv2 | e1 | 101")
    assert found(db, "visit_outside_follow_up") == [("avocet", "visit", "v2")]


def test_two_placements_of_one_child_in_a_row(db) -> None:  # type: ignore[no-untyped-def]
    db.given(
        "episode",
        """
        episode_id | patient_key | month_order
        e1         | p1          | 1
        e2         | p1          | 2
        e3         | p2          | 3
        e4         | p1          | 4
        """,
    )
    assert found(db, "overlapping_episodes") == [("avocet", "episode", "e2")]


def test_gaps_in_the_order_of_a_month(db) -> None:  # type: ignore[no-untyped-def]
    db.given("episode", "episode_id | month_order\ne1 | 2\ne2 | 3\ne3 | 5")
    assert [key for _, _, key in found(db, "month_order_gap")] == ["e1", "e3"]


def test_a_month_in_which_a_site_placed_nothing(db) -> None:  # type: ignore[no-untyped-def]
    db.given(
        "episode",
        """
        episode_id | site   | placed_month
        e1         | avocet | 2025-01
        e2         | avocet | 2025-02
        e3         | avocet | 2025-03
        e4         | curlew | 2025-01
        e5         | curlew | 2025-03
        """,
    )
    assert found(db, "month_without_episodes") == [("curlew", "month", "2025-02")]


def test_a_change_at_a_site_that_is_not_listed(db) -> None:  # type: ignore[no-untyped-def]
    db.given("site", "site\navocet")
    db.given("change", "change_id | sites\nc1 | all\nc2 | avocet; bittern")
    assert found(db, "change_at_unknown_site") == [("bittern", "change", "c2")]


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    path = tmp_path / "dwell.duckdb"
    files = {
        "site.csv": SITE + "avocet,Avocet,\ncurlew,Curlew,\n",
        "episode.csv": EPISODE
        + episode("e1", 1, weight_kg="")
        + episode("e2", 3)
        + episode("e3", 1, site="curlew", removed_h="", removal_reason="")
        + episode("e4", 1, site="curlew", placed_month="2025-07"),
        "contact.csv": CONTACT + contact(),
        "visit.csv": VISIT,
    }
    result = load(path, write(tmp_path / "in", files))
    assert [(f.check, f.site, f.rows) for f in result.findings] == [
        ("month_order_gap", "avocet", 1),
        ("month_without_episodes", "avocet", 1),
    ]
    return path


def test_checks_warn_by_site(store_path: Path) -> None:
    with open_store(store_path) as store:
        assert len(run_checks(store)) == 2


def test_completeness_counts_only_where_a_field_is_expected(store_path: Path) -> None:
    with open_store(store_path) as store:
        frame = completeness(store)
    cells = {
        (r["field"], r["site"], r["quarter"]): (r["expected"], r["filled"])
        for r in frame.to_dicts()
    }
    assert cells["weight_kg", "avocet", "2025-Q2"] == (2, 1)
    assert cells["removal_reason", "curlew", "2025-Q2"] == (0, 0)
    assert cells["last_known_in_place_h", "curlew", "2025-Q2"] == (1, 0)
    assert cells["removed_h", "curlew", "2025-Q3"] == (1, 1)
    assert cells["pain_score", "avocet", "2025-Q2"] == (1, 0)
    assert frame.filter(frame["expected"] == 0)["share"].null_count() > 0
