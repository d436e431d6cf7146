"""Completeness as tiles: bands, words and percentages."""

import pytest

from pipeline.answers.quality import FieldShare
from pipeline.figures.completeness import NOTHING, band, completeness_figure

SHARES = [
    FieldShare("weight_kg", "Avocet", 0.97),
    FieldShare("weight_kg", "Curlew", 0.71),
    FieldShare("drug", "Avocet", 0.86),
    FieldShare("drug", "Curlew", None),
]


@pytest.mark.parametrize(
    ("share", "name"),
    [(1.0, "95% or more"), (0.95, "95% or more"), (0.949, "80% to 95%"), (0.8, "80% to 95%"),
     (0.79, "50% to 80%"), (0.0, "under 50%"), (None, NOTHING)],
)  # fmt: skip
def test_a_share_falls_into_one_band(share, name):
    assert band(share) == name


def test_the_title_names_what_is_missing_most():
    drawing = completeness_figure(SHARES)
    assert drawing.title == "Less than 80% complete at some site: weight (kg)"
    assert drawing.alt.startswith("Under 80%: weight (kg) at Curlew.")


def test_a_complete_quarter_says_so():
    drawing = completeness_figure(SHARES[:1])
    assert drawing.title == "Every field is at least 80% complete at every site"


def test_percentages_stand_where_a_field_is_not_whole(tmp_path):
    drawing = completeness_figure(SHARES)
    assert set(drawing.plot.data["label"]) == {"", "71%", "86%"}
    assert drawing.save(tmp_path / "a.svg").stat().st_size > 1000
