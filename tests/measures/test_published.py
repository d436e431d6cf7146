"""Figures as published, and why they are others now."""

from pathlib import Path

import pytest

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.published import drift, freeze
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.store.undo import undo_load
from tests.store.small import CONTACT, EPISODE, contact, episode, load, write

QUARTER = "2025-Q2"


@pytest.fixture
def db(tmp_path: Path) -> Path:
    path = tmp_path / "dwell.duckdb"
    lines = episode("e1", 1) + episode("e2", 2, removed_h="", removal_reason="")
    files = {"episode.csv": EPISODE + lines, "contact.csv": CONTACT + contact()}
    load(path, write(tmp_path / "in", files))
    with open_store(path, read_only=False) as store:
        assert freeze(store, QUARTER) == 1
    return path


def changed(
    db: Path, quarter: str | None = None, settings: Settings | None = None
) -> dict[str, str]:
    """Return, by measure, why the figure of all sites is another now."""
    with open_store(db) as store:
        frame = drift(store, quarter)
    return {r["measure"]: r["why"] for r in frame.to_dicts() if r["site"] == "all"}


def test_nothing_changes_by_itself(db: Path) -> None:
    assert changed(db) == {}


def test_new_rows_corrections_and_maturity_are_told_apart(db: Path, tmp_path: Path) -> None:
    later = {
        "episode.csv": EPISODE
        + episode("e1", 1, removal_reason="dislodged")
        + episode("e2", 2)
        + episode("e3", 3),
        "contact.csv": CONTACT + contact("c2", "e2"),
    }
    load(db, write(tmp_path / "late", later))
    why = changed(db, QUARTER)["dislodgement"]
    assert "1 new episode" in why
    assert "1 episode corrected" in why
    assert "1 episode completed since (maturity)" in why
    assert "contact" not in why
    assert "1 new contact" in changed(db)["daily_contact"]


def test_the_published_and_the_present_figure_stand_side_by_side(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "late", {"episode.csv": EPISODE + episode("e3", 3)}))
    with open_store(db) as store:
        frame = drift(store)
    found = {(row["measure"], row["site"]): row for row in frame.to_dicts()}
    row = found["planned_course_completed", "all"]
    assert row["denominator"] == row["published_denominator"] + 1
    assert row["edition"] == 1


def test_a_load_taken_back_restores_the_published_figures(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "late", {"episode.csv": EPISODE + episode("e3", 3)}))
    assert changed(db)
    undo_load(db, 2)
    assert changed(db) == {}


def test_a_new_edition_is_compared_from_then_on(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "late", {"episode.csv": EPISODE + episode("e3", 3)}))
    with open_store(db, read_only=False) as store:
        assert freeze(store, QUARTER) == 2
        editions = store.rows("select distinct edition from published order by 1")
    assert changed(db) == {}
    assert editions == [(1,), (2,)]


def test_other_quarters_do_not_matter(db: Path, tmp_path: Path) -> None:
    other = episode("e3", 1, placed_month="2025-07")
    load(db, write(tmp_path / "late", {"episode.csv": EPISODE + other}))
    assert changed(db) == {}


def test_another_setting_is_a_reason_of_its_own(db: Path, tmp_path: Path) -> None:
    load(db, write(tmp_path / "late", {"episode.csv": EPISODE + episode("e3", 3)}))
    with open_store(db) as store:
        frame = drift(store, settings=Settings(removal_by_hour=20))
    assert all("changed definition or settings" in why for why in frame["why"])


@pytest.mark.parametrize(
    ("quarter", "error"), [("2031-Q1", NoDataError), ("2025", UsageError), ("2025-Q5", UsageError)]
)
def test_only_a_quarter_with_episodes_is_frozen(
    db: Path, quarter: str, error: type[Exception]
) -> None:
    with open_store(db, read_only=False) as store, pytest.raises(error):
        freeze(store, quarter)


def test_a_quarter_that_was_not_frozen_says_so(db: Path) -> None:
    with open_store(db) as store, pytest.raises(NoDataError, match="dwell freeze"):
        drift(store, "2025-Q3")
