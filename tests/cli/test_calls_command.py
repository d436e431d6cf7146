"""`dwell calls`: calls that come back, by hour and by group."""

import json

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner

from pipeline import open_store
from pipeline.cli.main import dwell
from pipeline.errors import NoDataError, UsageError
from tests.conftest import Database


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Four catheters of three children; five calls in place and one after removal."""
    database = Database()
    database.given(
        "episode",
        """
        episode_id | patient_key | site   | placed_month | removed_h
        e1         | p1          | avocet | 2025-04      | 24
        e2         | p1          | avocet | 2025-04      | 72
        e3         | p2          | avocet | 2025-04      | 72
        e4         | p3          | avocet | 2025-04      | 48
        e5         | p4          | dunlin | 2025-04      | 48
        """,
    )
    database.given(
        "contact",
        """
        contact_id | episode_id | at_h | direction
        c1         | e1         | 10   | family
        c2         | e1         | 20   | family
        c3         | e1         | 30   | family
        c4         | e2         | 60   | family
        c5         | e3         | 10   | family
        c6         | e4         | 12   | service
        """,
    )
    path = database.save(tmp_path_factory.mktemp("small") / "dwell.duckdb")
    database.close()
    return path


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    """Families that need an interpreter call half as often; each family has its own pace."""
    rng, n = np.random.default_rng(3), 500
    interpreter = rng.random(n) < 0.4
    pace = rng.gamma(2, 0.5, n) * np.where(interpreter, 0.5, 1.0)
    out = np.ceil(rng.uniform(24, 96, n))
    calls = rng.poisson(pace * out / 24)
    of = np.repeat(np.arange(n), calls)
    keys = pl.Series([f"e{i}" for i in range(n)])
    episodes = pl.DataFrame(
        {
            "episode_id": keys,
            "site": "avocet",
            "placed_month": "2025-04",
            "month_order": np.arange(n) + 1,
            "age_years": rng.integers(2, 18, n),
            "nerve_target": "femoral",
            "surgeon_type": "sports",
            "interpreter_needed": interpreter,
            "planned_dwell_h": 72.0,
            "removed_h": out,
            "load_id": 1,
        }
    )
    contacts = pl.DataFrame(
        {
            "contact_id": [f"c{i}" for i in range(len(of))],
            "episode_id": keys.gather(of),
            "at_h": np.round(rng.random(len(of)) * out[of], 2),
            "direction": "family",
            "reached": True,
            "topic": "pain",
            "load_id": 1,
        }
    )
    database = Database()
    database.connection.register("invented", episodes)
    database.connection.execute("insert into episode by name select * from invented")
    database.connection.register("called", contacts)
    database.connection.execute("insert into contact by name select * from called")
    path = database.save(tmp_path_factory.mktemp("network") / "dwell.duckdb")
    database.close()
    return path


def run(store_file, *words):
    done = CliRunner().invoke(dwell, ["calls", *words, "--db", str(store_file)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout


def found(store_file, *words):
    return json.loads(run(store_file, *words, "--format", "json"))


def test_calls_add_up_over_the_catheters_in_place(small) -> None:
    result = found(small)
    (group,) = result["groups"]
    # Dunlin sent no contacts that month, so its catheter is not among them.
    assert [group[key] for key in ("episodes", "called", "calls")] == [4, 3, 4]
    assert result["calls_after_removal"] == 1
    rows = [(row["hour"], row["n"], row["mean"]) for row in group["mean_calls"]]
    # Two calls at 10 h and one at 20 h among four in place, one at 60 h among two.
    assert rows == [(24, 4, 0.75), (48, 3, 0.75), (72, 2, 1.25)]
    text = run(small)
    assert "4 catheters, 4 calls in 3 of them" in text
    assert "1 call after removal not counted" in text


def test_every_hour_of_a_call_as_a_table(small) -> None:
    lines = run(small, "--at", "all", "--format", "csv").splitlines()
    assert lines[0] == "group,hour,n,mean,se,lower,upper"
    assert [line.split(",")[1] for line in lines[1:]] == ["10.0", "20.0", "60.0"]


def test_mean_calls_are_drawn_into_a_file(small, tmp_path) -> None:
    run(small, "--out", str(tmp_path / "calls.svg"))
    assert "<svg" in (tmp_path / "calls.svg").read_text(encoding="utf-8")


def test_a_childs_catheters_are_taken_together(small) -> None:
    (group,) = found(small, "--at", "24")["groups"]
    # Influences at 24 h, by hand: p1's two catheters (1/4 + 1/4 - 2 x 3/16) together 1/8,
    # p2's 1/4 - 3/16, p3's -3/16.
    by_child = [1 / 8, 1 / 16, -3 / 16]
    assert group["mean_calls"][0]["se"] == pytest.approx(np.linalg.norm(by_child))


def test_groups_and_a_model_of_the_rate(network) -> None:
    result = found(network, "--by", "interpreter_needed", "--adjust", "interpreter_needed,limb")
    no, yes = (group["mean_calls"][-1] for group in result["groups"])
    assert yes["upper"] < no["lower"]
    model = result["model"]
    (term,) = model["terms"]
    assert term["lower"] < 0.5 < term["upper"]
    assert term["rate_ratio"] == pytest.approx(yes["mean"] / no["mean"], rel=0.1)
    assert model["events"] == sum(group["calls"] for group in result["groups"])
    assert [left["why"] for left in model["left_out"]] == ["constant"]
    text = run(network, "--adjust", "interpreter_needed,limb")
    assert "Interpreter needed yes against no: families call 0." in text
    assert "Limb is not fitted: it does not vary" in text


def test_the_same_from_python(network) -> None:
    with open_store(network) as store:
        frame = store.calls(by="interpreter_needed", where="age_years < 6").frame()
    assert frame["group"].unique(maintain_order=True).to_list() == ["no", "yes"]


def test_nothing_known_is_said(small) -> None:
    with pytest.raises(NoDataError, match="record of calls"):
        run(small, "--where", "site = 'dunlin'")
    with pytest.raises(UsageError, match="cannot be grouped by shoe_size"):
        run(small, "--by", "shoe_size")
