"""`dwell removal`: shapes that scripts rely on, comparisons and models."""

import json
import xml.etree.ElementTree as ET

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner

from pipeline import open_store
from pipeline.cli.main import dwell
from pipeline.errors import NoDataError, UsageError
from tests.conftest import Database

GROUP = ["group", "episodes", "removed", "median_h", "still_in_place", "reasons"]
SMALL = """
    episode_id | site   | nerve_target | removed_h | last_known_in_place_h | removal_reason
    e1         | avocet | femoral      | 24        |                       | dislodged
    e2         | avocet | femoral      | 48        |                       | leakage
    e3         | avocet | axillary     | 72        |                       | completed
    e4         | avocet | axillary     |           | 60                    |
"""


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    database = Database()
    database.given("episode", SMALL)
    path = database.save(tmp_path_factory.mktemp("small") / "dwell.duckdb")
    database.close()
    return path


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    """Six hundred invented episodes of two sites; glue halves dislodgement."""
    rng, n = np.random.default_rng(11), 600
    glue = rng.random(n) < 0.5
    out = rng.exponential(np.where(glue, 120, 55))
    planned = 72 + rng.integers(-6, 7, n) / 4
    hour = np.ceil(np.minimum(out, planned) * 4) / 4
    early = rng.choice(["dislodged", "leakage"], n, p=[0.8, 0.2])
    exact = pl.Series(rng.random(n) < 0.8)
    number = np.arange(n)
    frame = pl.DataFrame(
        {
            "episode_id": [f"e{i}" for i in number],
            "patient_key": [f"p{i // 2 if i < 80 else i}" for i in number],
            "site": np.where(number % 2, "avocet", "dunlin"),
            "placed_month": "2025-04",
            "month_order": number + 1,
            "placed_hour": rng.integers(8, 17, n),
            "age_years": rng.integers(2, 18, n),
            "surgeon_type": "sports",
            "nerve_target": np.where(number % 3, "femoral", "axillary"),
            "skin_glue": glue,
            "rate_ml_h": rng.choice([2.0, 4.0], n),
            "reservoir_ml": 300.0,
            "planned_dwell_h": 72.0,
            "removal_reason": np.where(out >= planned, "completed", early),
            "load_id": 1,
        }
    ).with_columns(
        removed_h=pl.when(exact).then(pl.Series(hour)),
        removed_after_h=pl.when(~exact).then(pl.Series(np.maximum(hour - 4, 0))),
        removed_before_h=pl.when(~exact).then(pl.Series(hour + 4)),
    )
    return saved(frame, tmp_path_factory.mktemp("network") / "dwell.duckdb")


def saved(frame, path):
    """Save a store of episodes at two sites."""
    database = Database()
    for site in ("avocet", "dunlin"):
        database.given("site", f"site | label\n{site} | {site.title()}")
    database.connection.register("invented", frame)
    database.connection.execute("insert into episode by name select * from invented")
    database.save(path)
    database.close()
    return path


def run(store_file, *words):
    done = CliRunner().invoke(dwell, ["removal", *words, "--db", str(store_file)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done


def found(store_file, *words):
    return json.loads(run(store_file, *words, "--format", "json").stdout)


def test_json_has_the_shape_that_scripts_rely_on(small) -> None:
    (group,) = found(small)["groups"]
    assert list(group)[: len(GROUP) - 2] == GROUP[:-2]
    assert set(GROUP) <= set(group)
    assert {k: group[k] for k in GROUP[:4]} == {
        "group": "all", "episodes": 4, "removed": 3, "median_h": 60.0,
    }  # fmt: skip
    still = group["still_in_place"]
    keys = ["hour", "n", "estimate", "lower", "upper"]
    assert [list(row) for row in still] == [keys] * 3
    assert [(row["hour"], row["n"], row["estimate"]) for row in still] == [
        (24, 4, 0.75), (48, 3, 0.5), (72, 1, 0.0),
    ]  # fmt: skip
    keys = ["reason", "hour", "incidence", "se", "lower", "upper"]
    assert all(list(row) == keys for row in group["reasons"])
    read = {(row["reason"], row["hour"]): row["incidence"] for row in group["reasons"]}
    assert read["dislodged", 24] == 0.25
    assert read["completed", 72] == 0.5


@pytest.mark.parametrize("words", [(), ("--by", "site")])
def test_at_every_hour_reasons_and_still_in_place_add_to_one(network, words) -> None:
    for group in found(network, "--at", "all", *words)["groups"]:
        total: dict[float, float] = {}
        for row in group["reasons"]:
            total[row["hour"]] = total.get(row["hour"], 0.0) + row["incidence"]
        assert len(total) > 50
        for row in group["still_in_place"]:
            assert abs(total[row["hour"]] + row["estimate"] - 1) < 1e-12


def test_one_catheter_has_a_mean_without_limits(tmp_path) -> None:
    database = Database()
    database.given("episode", "episode_id | removed_h\ne1 | 80")
    store_file = database.save(tmp_path / "dwell.duckdb")
    database.close()
    (group,) = found(store_file)["groups"]
    mean = group["restricted_mean"]
    assert (mean["hours"], mean["until_h"]) == (72, 72)
    assert [mean[name] for name in ("se", "lower", "upper")] == [None] * 3
    assert [group[f"median_{end}_h"] for end in ("lower", "upper")] == [None] * 2
    assert group["time_lost"][0]["se"] is None
    assert "72.0 h in place of the first 72 (no limits: too few" in run(store_file).stdout


def test_groups_are_compared(network) -> None:
    result = found(network, "--by", "skin_glue")
    assert [g["group"] for g in result["groups"]] == ["no", "yes"]
    tests = result["tests"]
    assert tests["log_rank"]["p"] < 1e-4
    gray = {t["reason"]: t for t in tests["gray"]}
    assert gray["dislodged"]["p"] < 1e-4
    assert gray["dislodged"]["adjusted_p"] >= gray["dislodged"]["p"]
    rows = [d for d in tests["differences"] if d["of"] == "dislodged"]
    assert [row["hour"] for row in rows] == [24, 48, 72]
    assert rows[-1]["upper"] < 0  # with glue, fewer
    assert "called different" in run(network, "--by", "skin_glue").stdout


def test_groups_are_compared_within_strata(network) -> None:
    plain = found(network, "--by", "skin_glue")["tests"]["log_rank"]
    within = found(network, "--by", "skin_glue", "--strata", "limb")["tests"]["log_rank"]
    assert within["test"] == "stratified log-rank"
    assert within["chi_square"] != plain["chi_square"]
    assert within["observed"] == plain["observed"]


@pytest.mark.parametrize("model", ["cox", "finegray"])
def test_a_model_in_figures_and_in_words(network, model: str) -> None:
    words = ("--adjust", "skin_glue,age_years,limb", "--model", model)
    fitted = found(network, *words)["model"]
    glue = next(t for t in fitted["terms"] if t["term"] == "skin_glue")
    assert glue["level"] == "yes"
    assert glue["reference"] == "no"
    assert 0.3 < glue["lower"] < glue["hazard_ratio"] < glue["upper"] < 0.8
    assert fitted["children"] < fitted["episodes"]
    risks = {(r["term"], r["value"]): r["risk"] for r in fitted["risks"]}
    assert risks["skin_glue", "yes"] < risks["skin_glue", "no"]
    text = run(network, *words).stdout
    assert "Skin glue yes against no: removal for dislodgement is 0." in text
    assert "of 100 such catheters out for it by 72 h" in text
    assert ("proportional_hazards" in fitted) == (model == "cox")


def test_a_cox_model_within_strata_says_how_well_it_orders_and_promises(network) -> None:
    words = ("--adjust", "skin_glue,age_years", "--strata", "site", "--model", "cox")
    fitted = found(network, *words)["model"]
    plain = found(network, *words[:2])["model"]
    assert [t["term"] for t in fitted["terms"]] == ["skin_glue", "age_years"]
    assert fitted["terms"][0]["hazard_ratio"] != plain["terms"][0]["hazard_ratio"]
    assert 0.55 < fitted["concordance"]["lower"] < fitted["concordance"]["upper"] < 0.7
    assert sum(group["catheters"] for group in fitted["calibration"]) == fitted["episodes"]
    for model in (plain, fitted):
        groups = model["calibration"]
        assert [g["modelled"] for g in groups] == sorted(g["modelled"] for g in groups)
        assert sum(g["lower"] < g["modelled"] < g["upper"] for g in groups) >= len(groups) - 1
    text = run(network, *words).stdout
    assert "within the same site alone" in text
    assert "modelled hazard 6" in text
    assert "modelled by 72 h, %" in text


def test_how_much_levels_differ_at_random(network) -> None:
    words = ("--adjust", "skin_glue", "--random", "rate_ml_h")
    with pytest.raises(UsageError, match="cannot be grouped by rate_ml_h"):
        run(network, *words)
    words = ("--adjust", "skin_glue", "--random", "age_band")
    model = found(network, *words)["model"]
    effect = model["random_effect"]
    assert effect["lower"] <= effect["sd"] < effect["upper"]
    assert len(effect["levels"]) > 3
    assert all(one["lower"] < one["ratio"] < one["upper"] for one in effect["levels"])
    text = run(network, *words).output
    assert "All else equal," in text
    assert "hazard against the typical one" in text


def test_time_to_unplanned_removal_in_figures_and_in_words(network) -> None:
    words = ("--adjust", "skin_glue,age_years", "--model", "aft")
    fitted = found(network, *words)["model"]
    glue = next(t for t in fitted["terms"] if t["term"] == "skin_glue")
    assert 1.4 < glue["lower"] < glue["time_ratio"] < glue["upper"] < 4
    more = {(h["term"], h["value"]): h["more"] for h in fitted["hours"]}
    assert more["skin_glue", "no"] == 0 < more["skin_glue", "yes"]
    assert fitted["families"] == sorted(fitted["families"], key=lambda f: f["aic"])
    at = fitted["without_unplanned_removal"][1]
    assert at["weibull"] == pytest.approx(at["nonparametric"], abs=0.05)
    text = run(network, *words).stdout
    assert "Skin glue yes against no: time to unplanned removal is" in text
    assert "h more of the first 72" in text
    assert "of the least AIC" in text


def test_intervals_are_used_and_said(network) -> None:
    result = found(network)
    assert result["interval_midpoints"] > 60
    check = result["interval_censored"]["still_in_place"]
    assert check[1]["lower"] < check[1]["estimate"] < check[1]["upper"]
    assert "counted at its middle: " in run(network).stdout


def test_hazard_and_pump(network) -> None:
    result = found(network, "--hazard", "--pump")
    parts = {p["part"]: p for p in result["hazard"]["by_part"]}
    assert set(parts) == {"first night", "later nights", "days"}
    assert len(result["hazard"]["by_clock_hour"]) == 24
    assert [row["rate_ml_h"] for row in result["pump"]["rows"]] == [2.0, 4.0, None]
    text = run(network, "--hazard", "--pump").stdout
    assert "In the first night" in text
    assert "all rates" in text


def test_courses_of_any_length_are_laid_together_at_their_planned_end(tmp_path) -> None:
    database = Database()
    database.given(
        "episode",
        """
        episode_id | planned_dwell_h | removed_h | last_known_in_place_h | removal_reason
        e1         | 48              | 48        |                       | completed
        e2         | 48              | 24        |                       | dislodged
        e3         | 96              | 72        |                       | leakage
        e4         | 96              | 97        |                       | completed
        e5         | 72              |           | 60                    |
        """,
    )
    store = database.save(tmp_path / "dwell.duckdb")
    database.close()
    courses = found(store, "--planned-end")["from_planned_end"]
    assert [(c["planned_course"], c["episodes"]) for c in courses] == [
        ("planned up to 48 h", 2), ("planned up to 72 h", 1), ("planned over 72 h", 2)
    ]  # fmt: skip
    short, middle, long = (
        {row["hours_from_end"]: row["estimate"] for row in c["still_in_place"]} for c in courses
    )
    assert (short[-48], short[-24], short[-6], short[0]) == (1, 0.5, 0.5, 0)
    assert (middle[-24], middle[-12], middle[0]) == (1, 1, None)
    assert (long[-48], long[-24], long[0], long[6]) == (1, 0.5, 0.5, 0)
    assert "Still in place by hours from the planned end" in run(store, "--planned-end").output


def test_csv_is_one_table(network) -> None:
    lines = run(network, "--by", "site", "--format", "csv").stdout.splitlines()
    assert lines[0] == "group,reason,hour,n,estimate,se,lower,upper"
    assert len(lines) == 1 + 2 * 3 * (1 + 3)


def test_until_follows_no_longer(network) -> None:
    (group,) = found(network, "--until", "48", "--at", "24,48,72")["groups"]
    assert [row["hour"] for row in group["still_in_place"]] == [24, 48]
    assert group["restricted_mean"]["until_h"] == 48
    (whole,) = found(network, "--at", "24,48")["groups"]
    assert group["still_in_place"][1]["estimate"] == whole["still_in_place"][1]["estimate"]


def test_groups_all_last_known_in_place(db, tmp_path) -> None:
    lines = [f"e{i} | {'avocet' if i % 2 else 'dunlin'} | {20 + i}" for i in range(8)]
    db.given("episode", "episode_id | site | last_known_in_place_h\n" + "\n".join(lines))
    store_file = db.save(tmp_path / "dwell.duckdb")
    words = ("--by", "site", "--adjust", "site")
    result = found(store_file, *words, "--at", "22,90")
    assert [g["removed"] for g in result["groups"]] == [0, 0]
    assert [g["median_h"] for g in result["groups"]] == [None, None]
    assert [row["estimate"] for row in result["groups"][0]["still_in_place"]] == [1.0, None]
    assert "nothing to compare" in result["tests"]["log_rank"]["note"]
    assert result["model"]["terms"] == []
    text = run(store_file, *words).stdout
    assert "Fewer than half are known to be out." in text


def test_one_figure_or_all_of_them(network, tmp_path) -> None:
    run(network, "--out", str(tmp_path / "reasons.svg"))
    assert ET.parse(tmp_path / "reasons.svg").getroot().tag.endswith("svg")
    folder = tmp_path / "figures"
    run(network, "--adjust", "skin_glue", "--model", "finegray", "--out", str(folder))
    assert {path.stem for path in folder.iterdir()} == {"reasons", "time-in-place", "forest"}


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--by", "shoe_size"), "cannot be grouped by shoe_size"),
        (("--by", "age_years"), "cannot be grouped by age_years"),
        (("--where", "reason = 'leakage'"), "cannot be chosen by reason"),
        (("--adjust", "shoe_size"), "cannot be adjusted for shoe_size"),
        (("--model", "cox"), "needs columns"),
        (("--missing",), "needs columns"),
        (("--random", "limb"), "A random effect needs a Cox model"),
        (("--random", "limb", "--adjust", "site", "--missing"), "without imputing"),
        (("--random", "limb", "--adjust", "nerve_target"), "both random and a term"),
        (("--at", "soon"), "--at takes hours"),
        (("--at", "-4"), "--at takes hours"),
        (("--reason", "fell_out"), "no reason of removal fell_out"),
        (("--strata", "limb"), "need groups"),
        (("--strata", "limb", "--adjust", "site", "--model", "aft"), "need groups"),
        (("--strata", "limb", "--adjust", "nerve_target"), "both strata and a term"),
        (("--strata", "age_years", "--adjust", "site"), "cannot be grouped by age_years"),
        (("--out", "x.svg", "--figure", "forest"), "no figure forest"),
    ],
)
def test_words_that_do_not_fit_are_refused(network, words, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        run(network, *words)


def test_what_is_missing_is_imputed_beside_complete_cases(tmp_path) -> None:
    rng, n = np.random.default_rng(3), 400
    glue, out = rng.random(n) < 0.5, rng.random(n)
    came_out = out < np.where(glue, 0.2, 0.6)
    frame = pl.DataFrame(
        {
            "episode_id": [f"e{i}" for i in range(n)],
            "patient_key": [f"p{i}" for i in range(n)],
            "site": "avocet",
            "placed_month": "2025-04",
            "month_order": np.arange(n) + 1,
            "planned_dwell_h": 72.0,
            "surgeon_type": "sports",
            "nerve_target": "femoral",
            "skin_glue": [None if i % 4 == 0 else bool(g) for i, g in enumerate(glue)],
            "removed_h": np.where(came_out, np.ceil(out * 100) + 1, 72.0),
            "removal_reason": np.where(came_out, "dislodged", "completed"),
            "load_id": 1,
        }
    )
    store = saved(frame, tmp_path / "dwell.duckdb")
    asked = ("--adjust", "skin_glue", "--missing")
    model = found(store, *asked)["model"]
    imputed = model["imputed"]
    assert imputed["imputations"] == 20
    assert (imputed["episodes"], model["episodes"]) == (400, 300)
    (term,), (complete,) = imputed["terms"], model["terms"]
    assert list(term) == [
        "term", "level", "reference", "hazard_ratio", "lower", "upper", "missing_information",
        "not_recorded", "turning_point",
    ]  # fmt: skip
    assert term["not_recorded"] == 100
    assert term["hazard_ratio"] == pytest.approx(complete["hazard_ratio"], rel=0.25)
    assert 0 < term["missing_information"] < 0.5
    text = run(store, *asked).output
    assert "With what is not recorded imputed 20 times (400 catheters)" in text
    assert "Imputing moves no limits to another side of 1." in text
    assert "odds" in text or "none tried" in text


def test_a_condition_that_no_episode_meets(network) -> None:
    with pytest.raises(NoDataError, match="No episode"):
        run(network, "--where", "site = 'curlew'")


def test_a_rare_reason_has_no_model_but_a_sentence(network) -> None:
    result = found(network, "--adjust", "skin_glue", "--reason", "imaging")
    assert result["model"]["terms"] == []
    assert "no catheter" in result["model"]["left_out"][0]["why"]


def test_the_same_data_print_the_same_bytes(network) -> None:
    words = ("--by", "site", "--adjust", "skin_glue", "--format", "json")
    assert run(network, *words).stdout == run(network, *words).stdout


def test_a_frame_for_survival_libraries_has_a_row_an_episode(network) -> None:
    with open_store(network) as store:
        frame = store.survival_frame("skin_glue", where="site = 'avocet'")
        with pytest.raises(UsageError, match="adjusted for shoe_size"):
            store.survival_frame("shoe_size")
    assert frame.height == 300
    assert frame.columns == [
        "duration", "event", "reason", "entry", "lower_bound", "upper_bound", "child", "skin_glue",
    ]  # fmt: skip
    event = frame.filter("event")
    assert set(event["reason"]) == {"dislodged", "leakage"}
    assert event["upper_bound"].is_finite().all()
    assert frame.filter(~frame["event"])["upper_bound"].is_infinite().all()
    assert frame["child"].n_unique() == 300  # of each child of two, one catheter is here
