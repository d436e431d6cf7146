"""Invented episodes, contacts and visits tell one story."""

import polars as pl

from synthetic_data.generate import Batch
from synthetic_data.scenario import Scenario


def test_nobody_is_spoken_to_after_the_catheter_is_known_to_be_out(made: Batch):
    known_out = made["episode"].select(
        "episode_id", out_h=pl.coalesce("removed_before_h", "removed_h")
    )
    course = made["contact"].filter(pl.col("contact_kind") == "course")
    late = course.join(known_out, on="episode_id").filter(pl.col("at_h") > pl.col("out_h"))
    assert late.is_empty()


def test_a_reached_family_shows_that_the_catheter_was_in_place(made: Batch):
    lost = made["episode"].select(
        "episode_id", last_h=pl.coalesce("removed_after_h", "last_known_in_place_h")
    )
    contact = made["contact"].filter(
        "reached", pl.col("outcome") != "catheter_removed", pl.col("contact_kind") == "course"
    )
    told = contact.filter(pl.col("topic").is_in(["routine", "medicine"])).join(
        lost, on="episode_id"
    )
    assert told.filter(pl.col("at_h") > pl.col("last_h")).is_empty()


def test_a_contact_that_reached_nobody_ascertains_nothing(made: Batch):
    said = pl.exclude(
        "contact_id", "episode_id", "at_h", "direction", "reached", "topic", "contact_kind"
    )
    unreached = made["contact"].filter(~pl.col("reached")).select(said)
    assert unreached.height > 1000
    assert unreached.null_count().sum_horizontal().item() == unreached.height * unreached.width


def test_visits_fall_within_follow_up(made: Batch):
    ends = made["episode"].select("episode_id", "followed_until_h").drop_nulls()
    visit = made["visit"].join(ends, on="episode_id")
    assert visit.height > 0.9 * made["visit"].height
    assert visit.filter(pl.col("at_h") > pl.col("followed_until_h")).is_empty()


def test_a_child_comes_back_at_the_same_site_in_another_month(made: Batch):
    one_each = (
        made["episode"]
        .with_columns(operation=pl.coalesce("operation_key", "episode_id"))
        .unique("operation", keep="first", maintain_order=True)
    )
    children = one_each.drop_nulls("patient_key").group_by("patient_key")
    repeat = children.agg(
        pl.col("site").n_unique(),
        months=pl.col("placed_month").n_unique(),
        episodes=pl.len(),
        aged=pl.col("age_years").last() - pl.col("age_years").first(),
    ).filter(pl.col("episodes") > 1)
    assert 0.03 < repeat.height / made["episode"].height < 0.06
    assert (repeat["site"] == 1).all()
    assert (repeat["months"] == repeat["episodes"]).all()
    assert repeat["aged"].drop_nulls().is_between(0, 2).all()


def test_month_order_runs_without_gaps(made: Batch):
    cells = made["episode"].group_by("site", "placed_month").agg(pl.len(), pl.max("month_order"))
    assert (cells["len"] == cells["month_order"]).all()


def test_no_episode_precedes_its_site(made: Batch, scenario: Scenario):
    first = made["episode"].group_by("site").agg(pl.col("placed_month").cast(pl.String).min())
    opened = {site.code: site.opened_month for site in scenario.sites}
    assert dict(first.rows()) == opened
