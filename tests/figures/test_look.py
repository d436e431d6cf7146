"""The shared look: one colour a reason, and files that do not change by themselves."""

import pandas as pd
import pytest
from plotnine import aes, geom_line, geom_text, ggplot

from pipeline.errors import RenderError
from pipeline.figures.look import REASON_COLOURS, Drawing, group_colours, look, save
from pipeline.records.codes import RemovalReason


@pytest.fixture
def plot():
    frame = pd.DataFrame({"hour": [0, 24, 48], "still": [1.0, 0.9, 0.7], "label": ["a", "b", "c"]})
    return ggplot(frame, aes("hour", "still", label="label")) + geom_line() + geom_text() + look()


@pytest.mark.parametrize("name", ["figure.svg", "figure.png"])
def test_the_same_figure_is_the_same_bytes(plot, tmp_path, name):
    first = save(plot, tmp_path / name, 8, 5).read_bytes()
    second = save(plot, tmp_path / f"again-{name}", 8, 5).read_bytes()
    assert first == second


def test_a_figure_is_as_large_as_it_says(plot, tmp_path):
    svg = Drawing(plot, "t", "c", "a", width_cm=10, height_cm=5).save(tmp_path / "f.svg")
    assert f'width="{10 / 2.54 * 72:.6f}pt"' in svg.read_text()


def test_an_svg_needs_no_font_and_carries_no_date(plot, tmp_path):
    text = save(plot, tmp_path / "f.svg", 8, 5).read_text()
    assert "<text" not in text
    assert "<dc:date>" not in text


def test_another_format_is_refused_by_name(plot, tmp_path):
    with pytest.raises(RenderError, match=r"\.svg or \.png, not \.bmp"):
        save(plot, tmp_path / "f.bmp", 8, 5)


def test_a_folder_that_is_not_there_is_said_in_one_line(plot, tmp_path):
    with pytest.raises(RenderError, match="No such file"):
        save(plot, tmp_path / "absent" / "f.svg", 8, 5)


def test_no_two_reasons_share_a_colour():
    assert len(set(REASON_COLOURS.values())) == len(REASON_COLOURS)


def test_every_reason_of_the_record_layout_has_a_colour():
    codes = {reason.value for reason in RemovalReason}
    assert set(REASON_COLOURS) == codes | {"not_recorded"}


def test_groups_get_different_colours_up_to_ten():
    assert len(set(group_colours([str(i) for i in range(10)]))) == 10
    assert len(group_colours([str(i) for i in range(12)])) == 12
