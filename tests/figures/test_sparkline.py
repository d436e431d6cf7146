"""The small lines of the table: gaps stay gaps, and the last point is marked."""

import math
import xml.etree.ElementTree as ET

from pipeline.figures.look import INK
from pipeline.figures.sparkline import sparkline

PERIODS = [f"2025-Q{k}" for k in range(1, 5)]
SVG = "{http://www.w3.org/2000/svg}"


def drawn(values):
    line = sparkline(PERIODS, values, "per 100 catheters")
    return line, ET.fromstring(line.svg)


def test_a_gap_breaks_the_line():
    _, whole = drawn([1.0, 2.0, 3.0, 4.0])
    _, broken = drawn([1.0, 2.0, math.nan, 4.0])
    assert len(whole.findall(f".//{SVG}path")) == 1
    assert [p.get("d").count("L") for p in broken.findall(f".//{SVG}path")] == [1]


def test_the_last_point_is_the_dark_one():
    _, root = drawn([1.0, 4.0, 2.0, 3.0])
    dark = [c for c in root.findall(f".//{SVG}circle") if c.get("fill") == INK]
    assert [float(c.get("cx")) for c in dark] == [108.0]


def test_an_earlier_point_is_not_taken_for_the_last():
    _, root = drawn([1.0, 4.0, 2.0, math.nan])
    assert not [c for c in root.findall(f".//{SVG}circle") if c.get("fill") == INK]


def test_higher_is_drawn_higher():
    _, root = drawn([1.0, 2.0, 3.0, 4.0])
    heights = [float(p.split()[1]) for p in root.find(f".//{SVG}path").get("d")[1:].split("L")]
    assert heights == sorted(heights, reverse=True)


def test_a_flat_line_and_an_empty_one_can_be_drawn():
    assert "M" in drawn([2.0] * 4)[0].svg
    assert "circle" not in drawn([math.nan] * 4)[0].svg


def test_the_alternative_text_gives_the_numbers():
    line, _ = drawn([1.04, math.nan, 3.0, 12.3])
    assert line.alt == (
        "2025-Q1 1.0, 2025-Q2 not shown, 2025-Q3 3.0, 2025-Q4 12; per 100 catheters"
    )


def test_it_is_saved_as_it_is(tmp_path):
    line, _ = drawn([1.0, 2.0, 3.0, 4.0])
    assert line.save(tmp_path / "a.svg").read_text() == line.svg


def test_a_hundred_is_spoken_whole_and_what_is_not_quite_is_not():
    line = sparkline(["2025-Q3", "2025-Q4"], [100.0, 99.6], "per 100 catheters")
    assert line.alt == "2025-Q3 100, 2025-Q4 99.6; per 100 catheters"
