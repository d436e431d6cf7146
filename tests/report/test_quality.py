"""Many sites: tables and figures show those of which least is known, the workbook all."""

from pathlib import Path

import pytest

from pipeline.answers.quality import DataQuality, FieldShare, FileRows, SiteQuality
from pipeline.report import quality_section
from pipeline.report.page import Page
from pipeline.report.quality_section import MOST_SITES, least_complete, least_reached


def site(number, reached):
    return SiteQuality(f"Site {number:03d}", 200, 199, 180, 190, 100, reached)


def quality(number):
    return DataQuality(
        files=(FileRows("episode", 100, 100, 0, 0),),
        waiting=(),
        sites=tuple(site(i, 99 - i % 60) for i in range(number)),
    )


def test_a_table_of_many_sites_shows_those_whose_calls_reached_the_fewest():
    shown = least_reached(quality(200).sites)
    assert len(shown) == MOST_SITES
    assert [s.site for s in shown] == sorted(s.site for s in shown)
    hidden = set(quality(200).sites) - set(shown)
    assert max(s.reached for s in shown) <= min(s.reached for s in hidden)


@pytest.mark.parametrize(("number", "is_cut"), [(MOST_SITES, False), (200, True)])
def test_the_page_says_how_many_sites_it_leaves_to_the_workbook(tmp_path, number, is_cut):
    pieces = quality_section.quality_pieces(quality(number), Page(Path(tmp_path)))
    said = any(f"of {number} sites whose calls reached the fewest" in piece for piece in pieces)
    assert said is is_cut
    sheet = next(s for s in quality_section.sheets(quality(number)) if "site" in s.name)
    assert len(sheet.rows) == number
    assert sheet.rows[0] == ("Site 000", 200, 99.5, 100 * 180 / 190, 100, 99, 99.0)


def test_a_figure_of_many_sites_shows_those_with_the_least_complete_field():
    fields = [
        FieldShare(field, f"Site {i:03d}", None if i == 7 else 1 - i / 400)
        for field in ("weight_kg", "drug")
        for i in range(200)
    ]
    shown = least_complete(fields)
    assert {f.site for f in shown} == {f"Site {i:03d}" for i in range(180, 200)}
    assert least_complete(fields[:MOST_SITES]) == fields[:MOST_SITES]
