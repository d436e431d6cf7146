"""SVG is made shorter, and what is seen stays."""

import re

import pytest

from pipeline.figures.svg import compact


def path(d):
    return re.search(r'd="([^"]*)"', compact(f'<path d="{d}"/>'))[1]


@pytest.mark.parametrize(
    ("long", "short"),
    [
        ("M 1 2 \nL 3 4 \nz\n", "M1 2L3 4z"),
        ("M 0 0 L 5.0 0.0 L 5 7", "M0 0H5V7"),
        ("M 0 0 L 1 0 L 2 0 L 3 0", "M0 0H3"),
        ("M 0 0 L 3 0 L 1 0", "M0 0H3H1"),
        ("M 1.23456 0.001 L -2.71828 9", "M1.23 0L-2.72 9"),
        ("M 1 1 Q 2 2 3 1 L 3 5", "M1 1Q2 2 3 1V5"),
        ("M 1 1 L 4 1 z L 4 1 L 6 1", "M1 1H4zL4 1H6"),
        ("M 2 2 L 2 2", "M2 2L2 2"),
        ("M 2 2 L 4 2 L 4 2 L 6 2", "M2 2H6"),
    ],
)
def test_a_path_is_written_shorter(long, short):
    assert path(long) == short


def test_what_no_viewer_draws_goes_and_references_stay():
    svg = (
        '<?xml version="1.0"?>\n<!DOCTYPE svg PUBLIC "a"\n "b">\n<svg>\n <metadata>\n  <a>1</a>\n'
        ' </metadata>\n <g id="axes_1">\n  <!-- 5 -->\n  <defs><path id="m1" d="M 0 0"/></defs>\n'
        '  <use xlink:href="#m1" x="1.23456" style="fill: #fff; stroke: none"/>\n </g>\n</svg>\n'
    )
    assert compact(svg) == (
        '<?xml version="1.0"?><svg><g><defs><path id="m1" d="M0 0"/></defs>'
        '<use xlink:href="#m1" x="1.23" style="fill:#fff;stroke:none"/></g></svg>\n'
    )


def test_a_scale_keeps_its_digits():
    moved = compact('<g transform="translate(1.23456 7.5) scale(0.015625 -0.08)">')
    assert moved == '<g transform="translate(1.23 7.5) scale(0.015625 -0.08)">'
