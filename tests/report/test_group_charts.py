"""Each group's own control charts, and what stands among all of them."""

import pytest

from pipeline.report import comparison, group_charts
from tests.report.conftest import QUARTER


@pytest.fixture(scope="module")
def collected(store_path):
    return comparison.collect_comparison("site", QUARTER, str(store_path))


def test_every_outcome_of_every_group_is_charted_by_month(collected):
    made = collected.charts
    counted = {m.name for m in made.measures if m.charts[0].value not in ("g", "t")}
    for charts in made.charts.values():
        assert counted <= set(charts)
        assert all("Q" not in period for chart in charts.values() for period in chart.periods)


def test_every_point_that_a_sentence_names_is_among_the_figures(collected):
    ids = {number.id for number in group_charts.group_chart_numbers(collected.charts, "site")}
    for group in collected.charts.charts:
        for sentence in group_charts.group_chart_sentences(collected.charts, "site", group):
            assert set(sentence.numbers) <= ids
