"""Running counts of all groups at once are those of each group alone."""

import polars as pl
import pytest

from pipeline.measures.events import event_order
from pipeline.store import open_store

COLUMNS = ["month", "numerator", "catheters", "catheter_days", "provisional"]


RARE = ["toxicity_symptoms", "difficult_removal"]


@pytest.mark.parametrize("measure", RARE)
def test_groups_and_the_total_are_those_of_each_alone(demonstration, measure):
    with open_store(demonstration / "dwell.duckdb") as store:
        together = event_order(store, RARE, by="site", with_total=True)
        together = together.filter(pl.col("measure") == measure)
        sites = together["site"].unique().to_list()
        for site in sites:
            where = {} if site == "all" else {"site": site}
            alone = event_order(store, measure, where=where)
            part = together.filter(pl.col("site") == site).select(COLUMNS)
            assert part.rows() == alone.select(COLUMNS).rows()
    assert together["site"][0] == "all"
    assert len(sites) > 3
