"""Planted truths come back by plain counting, within generous tolerances."""

import polars as pl
import pytest

from synthetic_data.generate import Batch
from synthetic_data.scenario import Scenario
from tests.synthetic_data.invented import with_dwell


def per_hour(frame: pl.DataFrame) -> float:
    """Dislodgements per hour in place."""
    return frame["is_dislodged"].sum() / frame["dwell_h"].sum()


def before_and_after(frame: pl.DataFrame, scenario: Scenario, *, at_sites: bool) -> float:
    change = scenario.change("securement")
    here = frame.filter(pl.col("site").cast(pl.String).is_in(change.sites) == at_sites)
    after = pl.col("placed_month").cast(pl.String) >= change.started_month
    return per_hour(here.filter(after)) / per_hour(here.filter(~after))


def test_securement_halves_the_hazard_of_dislodgement(dwell: pl.DataFrame, scenario: Scenario):
    assert before_and_after(dwell, scenario, at_sites=True) == pytest.approx(0.5, abs=0.06)


def test_dislodgement_stays_where_nothing_changed(dwell: pl.DataFrame, scenario: Scenario):
    assert before_and_after(dwell, scenario, at_sites=False) == pytest.approx(1.0, abs=0.12)


def test_glue_follows_the_change(dwell: pl.DataFrame, scenario: Scenario):
    change = scenario.change("securement")
    at_sites = pl.col("site").cast(pl.String).is_in(change.sites)
    after = at_sites & (pl.col("placed_month").cast(pl.String) >= change.started_month)
    assert dwell.filter(after)["skin_glue"].mean() == pytest.approx(0.93, abs=0.02)
    assert dwell.filter(~after)["skin_glue"].mean() < 0.3


def large_leakage_rate(made: Batch) -> dict[str, float]:
    """Contacts with large leakage per 100 catheter-days, by site."""
    days = with_dwell(made["episode"]).group_by("site").agg(days=pl.col("dwell_h").sum() / 24)
    site_of = made["episode"].select("episode_id", "site")
    contact = made["contact"].join(site_of, on="episode_id")
    large = contact.group_by("site").agg(large=(pl.col("leakage") == "large").sum())
    rates = large.join(days, on="site").select("site", 100 * pl.col("large") / pl.col("days"))
    return dict(rates.rows())


def test_one_site_has_twice_the_large_leakage(made: Batch):
    rates = large_leakage_rate(made)
    assert rates["dunlin"] / rates["avocet"] == pytest.approx(2.0, abs=0.3)
    assert rates["curlew"] / rates["avocet"] == pytest.approx(1.0, abs=0.2)
    assert 1.5 < rates["avocet"] < 5


STRATA = ["nerve_target", "band", "tunnelled", "is_after"]


def case_mix_table(dwell: pl.DataFrame, scenario: Scenario) -> pl.DataFrame:
    """Mark the strata in which episodes have one hazard of dislodgement."""
    change = scenario.change("securement")
    at_sites = pl.col("site").cast(pl.String).is_in(change.sites)
    return dwell.with_columns(
        is_after=at_sites & (pl.col("placed_month").cast(pl.String) >= change.started_month),
        band=(pl.col("age_years") >= 6).cast(pl.Int8) + (pl.col("age_years") >= 12),
        is_case=pl.col("surgeon_type") == scenario.planted["case_mix"]["surgeon_type"],
    ).drop_nulls(STRATA)


def test_one_surgeon_type_looks_worse_by_its_case_mix_alone(
    dwell: pl.DataFrame, scenario: Scenario
):
    table = case_mix_table(dwell, scenario)
    case, others = table.filter("is_case"), table.filter(~pl.col("is_case"))
    crude = case["is_dislodged"].mean() / others["is_dislodged"].mean()
    hourly = others.group_by(STRATA).agg(
        hazard=pl.col("is_dislodged").sum() / pl.col("dwell_h").sum()
    )
    expected = case.join(hourly, on=STRATA)
    ratio = expected["is_dislodged"].sum() / (expected["hazard"] * expected["dwell_h"]).sum()
    assert crude > 1.6
    assert expected.height > 0.85 * case.height
    assert ratio == pytest.approx(1.0, abs=0.1)


def test_toxicity_symptoms_cluster_at_one_site_in_two_months(made: Batch, scenario: Scenario):
    cluster = scenario.planted["toxicity_cluster"]
    where = made["episode"].select("episode_id", "site", "placed_month")
    about = made["contact"].filter(pl.col("topic") == "toxicity_symptom").select("episode_id")
    told = where.with_columns(told=pl.col("episode_id").is_in(about["episode_id"].implode()))
    inside = (pl.col("site") == cluster["site"]) & pl.col("placed_month").cast(pl.String).is_in(
        cluster["months"]
    )
    rate_inside = told.filter(inside)["told"].mean()
    rate_outside = told.filter(~inside)["told"].mean()
    assert rate_inside / rate_outside == pytest.approx(cluster["hazard_ratio"], rel=0.3)
    assert rate_outside < 0.01


def test_one_site_reaches_fewer_families(made: Batch, scenario: Scenario):
    known = made["episode"].filter(pl.col("removal_reason").is_not_null())
    calls = (
        made["contact"]
        .filter(pl.col("direction") == "service", pl.col("contact_kind") == "course")
        .join(known.select("episode_id", "site", "interpreter_needed"), on="episode_id")
    )
    plain = calls.filter(~pl.col("interpreter_needed"))
    reached = dict(plain.group_by("site").agg(pl.col("reached").mean()).rows())
    assert reached.pop("godwit") == pytest.approx(0.68, abs=0.02)
    assert list(reached.values()) == pytest.approx([0.90] * 4, abs=0.02)
    needing = calls.filter("interpreter_needed", pl.col("site") != "godwit")["reached"].mean()
    odds_ratio = needing / (1 - needing) / (0.9 / 0.1)
    assert odds_ratio == pytest.approx(scenario.planted["reach"]["interpreter_odds_ratio"], rel=0.2)


def night_rates(made: Batch) -> dict[bool, float]:
    """Calls about medicines per hour at home between 22:00 and 06:00: first night, or later."""
    home = with_dwell(made["episode"]).drop_nulls(["placed_hour", "discharged_h"])
    home = home.filter(pl.col("removed_h").is_not_null())
    nights = home.select(
        "episode_id", "placed_hour", "discharged_h", "dwell_h", night=pl.lit([0, 1, 2, 3])
    ).explode("night")
    opens = 22 - pl.col("placed_hour") + 24 * pl.col("night")
    hours = pl.min_horizontal(opens + 8, "dwell_h") - pl.max_horizontal(opens, "discharged_h")
    nights = nights.with_columns(hours=hours.clip(0), opens=opens)
    calls = made["contact"].filter(
        pl.col("direction") == "family", pl.col("topic") == "medicine", "reached"
    )
    inside = nights.join(calls.select("episode_id", "at_h"), on="episode_id").filter(
        pl.col("at_h") >= pl.col("opens"), pl.col("at_h") < pl.col("opens") + 8
    )
    first = (pl.col("night") == 0).alias("first")
    exposure = dict(nights.group_by(first).agg(pl.col("hours").sum()).rows())
    count = dict(inside.group_by(first).len().rows())
    return {key: count[key] / exposure[key] for key in exposure}


def test_families_call_more_in_the_first_night(made: Batch):
    rates = night_rates(made)
    assert rates[True] / rates[False] == pytest.approx(3.0, abs=0.6)


def test_a_fifth_of_removals_is_known_as_an_interval_only(made: Batch):
    episode = made["episode"]
    removed = episode.filter(pl.coalesce("removed_h", "removed_before_h").is_not_null())
    interval = removed["removed_before_h"].is_not_null().mean()
    lost = episode["last_known_in_place_h"].is_not_null().mean()
    unknown = 1 - removed.height / episode.height - lost
    assert interval == pytest.approx(0.20, abs=0.02)
    assert lost == pytest.approx(0.025, abs=0.005)
    assert unknown == pytest.approx(0.01, abs=0.003)


def test_one_site_leaves_more_fields_empty(made: Batch):
    missing = made["episode"].group_by("site").agg(pl.col("weight_kg").is_null().mean())
    shares = dict(missing.rows())
    assert shares.pop("sandpiper") == pytest.approx(0.15, abs=0.02)
    assert list(shares.values()) == pytest.approx([0.025] * 4, abs=0.006)


def test_the_last_month_is_not_yet_followed_for_a_week(made: Batch):
    followed = made["episode"].drop_nulls(["followed_until_h", "removed_h"])
    short = followed.group_by("placed_month").agg((pl.col("followed_until_h") < 168).mean())
    shares = dict(short.rows())
    assert shares.pop("2025-12") == pytest.approx(0.15, abs=0.03)
    assert set(shares.values()) == {0.0}


def test_rates_are_of_the_size_that_published_series_report(dwell: pl.DataFrame, made: Batch):
    # Median near 72 h: Visoiu 2014, Paediatr Anaesth 24:1141-1148 (410 catheters, median 72 h,
    # 76.7% home the same day, ropivacaine 0.24 mg/kg/h, quartiles 0.20 and 0.30).
    assert dwell["dwell_h"].median() == pytest.approx(72, abs=2)
    assert (dwell["discharged_h"].drop_nulls() < 10).mean() == pytest.approx(0.767, abs=0.03)
    plain = dwell.filter(pl.col("drug") == "ropivacaine")
    dose = 10 * plain["rate_ml_h"] * plain["concentration_pct"] / plain["weight_kg"]
    assert 0.20 < dose.median() < 0.30
    # No severe systemic toxicity among 2,074 catheters: Walker 2015, Br J Anaesth 115:457-462.
    below = ~pl.col("nerve_target").cast(pl.String).is_in(["interscalene", "supraclavicular"])
    told = made["contact"].join(made["episode"], on="episode_id").filter(below)
    severe = told.select((pl.col("breathing_difficulty") | pl.col("unresponsive")).sum())
    assert severe.item() / dwell.height < 0.001
    # Planted high enough for charts to see a change (invented).
    before = dwell.filter(pl.col("placed_month").cast(pl.String) < "2024-07")
    assert 0.08 < before["is_dislodged"].mean() < 0.12


def test_completed_removals_fall_in_the_daytime(dwell: pl.DataFrame):
    completed = dwell.filter(pl.col("removal_reason") == "completed", pl.col("removed_h") > 0)
    clock = (completed["placed_hour"] + completed["removed_h"]) % 24
    assert clock.drop_nulls().is_between(7, 21.75).all()


def test_without_planted_differences_sites_and_changes_are_alike(
    made_without_planted: Batch, scenario: Scenario
):
    rates = large_leakage_rate(made_without_planted)
    assert rates["dunlin"] / rates["avocet"] == pytest.approx(1.0, abs=0.2)
    dwell = with_dwell(made_without_planted["episode"])
    assert before_and_after(dwell, scenario, at_sites=True) == pytest.approx(1.0, abs=0.1)
    nights = night_rates(made_without_planted)
    assert nights[True] / nights[False] == pytest.approx(1.0, abs=0.3)


def test_one_child_has_a_seizure_and_loses_the_catheter_for_it(made: Batch, scenario: Scenario):
    planted = scenario.planted["seizure"]
    fits = made["contact"].filter(pl.col("seizure"))
    child = made["episode"].filter(pl.col("episode_id").is_in(fits["episode_id"].implode()))
    event = made["event"].filter(pl.col("kind") == "toxicity_treated")
    assert fits["at_h"].to_list() == [planted["at_h"]]
    assert child.select("site", "placed_month", "removed_h", "removal_reason").rows() == [
        (planted["site"], planted["month"], planted["at_h"] + 1, "toxicity_symptoms")
    ]
    assert event.select("episode_id", "reviewed").rows() == [(child["episode_id"][0], False)]


def test_some_children_have_two_catheters_at_once_and_their_doses_add_up(made: Batch):
    pairs = made["episode"].filter(pl.col("operation_key").is_not_null())
    sizes = pairs.group_by("operation_key").agg(
        pl.len(), pl.col("nerve_target").n_unique(), pl.col("age_years").drop_nulls().n_unique()
    )
    assert set(sizes["len"]) == {2}
    assert set(sizes["nerve_target"]) == {2}
    assert sizes["age_years"].max() == 1
    share = pairs.height / 2 / made["episode"].height
    assert 0.01 < share < 0.03
    dose = 10 * pl.col("rate_ml_h") * pl.col("concentration_pct") / pl.col("weight_kg")
    together = pairs.with_columns(dose=dose).group_by("operation_key").agg(pl.col("dose").sum())
    alone = made["episode"].select(dose).to_series()
    assert together["dose"].median() / alone.median() == pytest.approx(2.0, abs=0.2)


def test_most_children_have_a_bolus(made: Batch, scenario: Scenario):
    bolus = made["episode"]["bolus_mg"].drop_nulls()
    share = scenario.tables["aftercare"]["bolus_share"]
    assert (bolus > 0).mean() == pytest.approx(share, abs=0.02)
    per_kg = made["episode"].filter(pl.col("bolus_mg") > 0)
    median = (per_kg["bolus_mg"] / per_kg["weight_kg"]).median()
    assert median == pytest.approx(1.35, abs=0.1)


def test_lasting_symptoms_are_rare_among_those_followed_up(made: Batch, scenario: Scenario):
    planted = scenario.planted["lasting_symptoms"]
    later = made["contact"].filter(pl.col("contact_kind") == "follow_up")
    assert later["reached"].mean() == pytest.approx(planted["reached"], abs=0.02)
    told = later.filter("reached").select(
        pl.any_horizontal("lasting_numbness", "lasting_weakness", "lasting_pain")
    )
    assert told.to_series().mean() * 1000 == pytest.approx(planted["per_1000"], rel=0.35)
    assert later["at_h"].min() > 300


def test_pumps_run_on_more_often_at_one_site(made: Batch, scenario: Scenario):
    planted = scenario.planted["pumps_that_run_on"]
    known = made["episode"].filter(
        pl.col("pump_problem").is_not_null(), pl.col("pump_problem") != "emptied_early"
    )
    ran_on = (pl.col("pump_problem") == "ran_on").mean()
    here = known.filter(pl.col("site") == planted["site"]).select(ran_on).item()
    elsewhere = known.filter(pl.col("site") != planted["site"]).select(ran_on).item()
    assert here == pytest.approx(planted["at_site"], rel=0.35)
    assert elsewhere == pytest.approx(planted["elsewhere"], rel=0.35)


def test_expected_effects_come_with_blocks_above_the_collarbone_alone(made: Batch):
    nerves = made["episode"].select("episode_id", "nerve_target")
    told = made["contact"].join(nerves, on="episode_id").filter("hoarse_voice")
    assert set(told["nerve_target"]) == {"interscalene", "supraclavicular"}


def test_some_serious_events_are_not_reviewed_and_the_latest_none(made: Batch, scenario: Scenario):
    event = made["event"].join(
        made["episode"].select("episode_id", "placed_month"), on="episode_id"
    )
    late = pl.col("placed_month").cast(pl.String).is_in(scenario.months[-2:])
    assert event.filter(late)["reviewed"].sum() == 0
    share = event.filter(~late)["reviewed"].mean()
    assert share == pytest.approx(scenario.planted["events"]["reviewed"], abs=0.1)
    assert event["reviewed_month"].is_not_null().sum() == event["reviewed"].sum()


def test_one_action_is_open_past_its_month(scenario: Scenario):
    overdue = [
        action["action_id"]
        for action in scenario.actions
        if action["state"] == "open" and action["due_month"] <= scenario.months[-1]
    ]
    assert overdue == ["dunlin_dressing"]
    assert {action["state"] for action in scenario.actions} == {"open", "done", "dropped"}


def test_a_new_baseline_is_logged_with_its_reason(scenario: Scenario):
    (baseline,) = [change for change in scenario.changes if change.kind == "baseline"]
    assert baseline.reason
