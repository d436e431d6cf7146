"""Each group's own control charts: whole or not drawn, and what stands among all of them."""

import pytest

from pipeline.report import comparison, group_charts
from tests.report.conftest import QUARTER


@pytest.fixture(scope="module", params=["committee", "shared"])
def collected(request, store_path):
    return comparison.collect("site", QUARTER, str(store_path), audience=request.param)


def test_the_committee_sees_every_outcome_of_every_group_by_month(store_path):
    made = comparison.collect("site", QUARTER, str(store_path), audience="committee").charts
    assert not made.is_quarterly
    counted = {m.name for m in made.measures if m.charts[0].value not in ("g", "t")}
    for charts in made.charts.values():
        assert counted <= set(charts)
        assert all("Q" not in period for chart in charts.values() for period in chart.periods)


def test_no_point_of_a_shared_chart_is_a_small_count(store_path):
    made = comparison.collect("site", QUARTER, str(store_path), audience="shared").charts
    assert made.is_quarterly
    assert made.looked_at > 0
    for number in group_charts.numbers(made, "site"):
        assert not 0 < number.numerator < 11, number
        assert not 0 < number.denominator < 11, number


def test_every_point_that_a_sentence_names_is_among_the_figures(collected):
    ids = {number.id for number in group_charts.numbers(collected.charts, "site")}
    for group in collected.charts.charts:
        for sentence in group_charts.sentences(collected.charts, "site", group):
            assert set(sentence.numbers) <= ids
