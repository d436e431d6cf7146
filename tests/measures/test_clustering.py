"""How far calls cluster by child: several catheters of a child are one child's calls."""

import pytest

from pipeline.analysis.rates.rates import rates
from pipeline.answers.measures import measure_rates
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.clustering import clustering_by_child
from pipeline.store import open_store

CALLS, LEAKAGE = (load_catalogue()[name] for name in ("family_calls", "leakage"))


@pytest.fixture
def store_file(db, tmp_path):
    db.given("episode", """
episode_id | patient_key | site   | placed_month | removed_h | removal_reason
e1         | c1        | avocet | 2025-04      | 48        | completed
e2         | c1        | avocet | 2025-06      | 48        | completed
e3         | c2        | avocet | 2025-05      | 72        | completed
e4         | c3        | avocet | 2025-05      | 24        | completed
    """)  # fmt: skip
    db.given("contact", """
episode_id | at_h | direction
e1         | 10   | family
e1         | 20   | family
e1         | 30   | family
e1         | 11   | family
e1         | 12   | family
e1         | 13   | family
e1         | 14   | family
e1         | 15   | family
e1         | 16   | family
e1         | 17   | family
e1         | 18   | family
e1         | 19   | family
e2         | 20   | family
e2         | 30   | family
e3         | 20   | family
e4         | 12   | service
    """)  # fmt: skip
    return db.save(tmp_path / "dwell.duckdb")


def test_calls_of_one_child_are_added_up_before_they_are_squared(store_file):
    # Children: 14 calls in 4 days, 1 in 3, none in 1; 15 in 8 days together.
    squares = [(y - 15 / 8 * d) ** 2 for y, d in ((14, 4), (1, 3), (0, 1))]
    with open_store(store_file) as store:
        found = clustering_by_child(store, [CALLS, LEAKAGE])
    assert found["family_calls"] == pytest.approx(sum(squares) / 15)
    assert found["leakage"] == 1.0


def test_limits_of_calls_are_wider_by_it(store_file):
    with open_store(store_file) as store:
        size = clustering_by_child(store, [CALLS])["family_calls"]
        (row,) = measure_rates(store, ["family_calls"], by=[]).as_json()
    want = rates(15, 8, kind="rate", multiplier=1, dispersion=size)
    assert (row["lower"], row["upper"]) == pytest.approx((float(want.lower), float(want.upper)))
    alone = rates(15, 8, kind="rate", multiplier=1)
    assert size > 1
    assert want.upper > alone.upper
