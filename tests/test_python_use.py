"""The same views and the same analysis from Python, as from the commands."""

import subprocess
import sys

import pytest

from pipeline import open_store
from pipeline.analysis.rates.rates import rates
from pipeline.errors import StoreError
from pipeline.measures.catalogue import find_measure
from pipeline.measures.series import series


def test_views_measures_and_rates_from_python(db, tmp_path):
    db.given(
        "episode",
        "episode_id | removed_h | removal_reason\n e1 | 30 | dislodged\n e2 | 72 | completed",
    )
    with open_store(db.save(tmp_path / "dwell.duckdb")) as store:
        dwell = store.frame("select * from episode_dwell where is_removed")
        counts = series(store, "dislodgement", by=("site",))
        everything = store.measures(by=["site", "month"]).frame()
        store.removal().figure().save(tmp_path / "reasons.svg")
    assert (tmp_path / "reasons.svg").stat().st_size > 0
    assert everything["measure"].n_unique() > 20
    assert dwell["dwell_h"].sort().to_list() == [30.0, 72.0]
    measure = find_measure("dislodgement")
    found = rates(
        counts["numerator"],
        counts["denominator"],
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
    )
    assert found.rate.tolist() == [50.0]


def test_a_store_can_be_opened_beside_itself(db, tmp_path):
    db.given("episode", "episode_id\n e1")
    path = db.save(tmp_path / "dwell.duckdb")
    with open_store(path) as first, open_store(path) as second:
        for store in (first, second):
            assert store.measures("dislodgement", by="all").frame().height == 1
            with pytest.raises(StoreError):
                store.rows("copy (select 1) to 'elsewhere.csv'")


def test_the_package_itself_imports_no_database():
    code = "import sys, pipeline; sys.exit('duckdb' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
