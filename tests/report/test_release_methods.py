"""Each way in which a count of few children could once be worked out, tried on three releases."""

import json
import re
from collections import defaultdict
from itertools import pairwise

import pytest

from pipeline.answers.released import told_chart, told_curves
from pipeline.cli.release import release as command
from pipeline.disclosure.frozen import NETWORK
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.release_counts import CATHETERS, HOUR, REASON
from pipeline.report.markdown import gathered
from pipeline.report.release import ReleasePage

FEW = 11
QUARTER = re.compile(r"20[0-9]{2}-Q[1-4]")


@pytest.fixture(scope="module")
def last(releases):
    """The last of the releases, in which all that was told before stands too."""
    return releases[1][-1][0]


@pytest.fixture(scope="module")
def passed_on(last, tmp_path_factory):
    """The text of its page, and its numbers.json."""
    folder = tmp_path_factory.mktemp("passed-on")
    (folder / "told.json").write_text(last.text(), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch, gathered() as shown:
        patch.chdir(folder)
        page = ReleasePage("told.json")
        for section in (page.this_quarter, page.charts, page.time_in_place, page.groups,
                        page.definitions, page.protection, page.cautions):  # fmt: skip
            section()
        page.finish("a test")
    return "\n".join(shown), json.loads((folder / "numbers.json").read_text("utf-8"))


def charts(release):
    found = {m.name: told_chart(release, m) for m in load_catalogue().values()}
    return {name: chart for name, chart in found.items() if chart is not None}


def told(release, family=NETWORK):
    return [c for c in release.cells if c.family == family and c.base is not None]


def keys_of(value):
    if isinstance(value, dict):
        return set(value).union(*map(keys_of, value.values()))
    return set().union(*map(keys_of, value)) if isinstance(value, list) else set()


def is_safe(count):
    return count == 0 or count >= FEW


def test_a_chart_of_rare_events_has_no_row_an_event(last):
    for name, chart in charts(last).items():
        assert not chart.is_of_gaps, name
        assert all(QUARTER.fullmatch(period) for period in chart.periods), name
        assert len(set(chart.periods)) == len(chart.periods), name


def test_a_centre_line_times_denominators_gives_what_is_told_and_no_more(last):
    for name, chart in charts(last).items():
        cells = [c for c in told(last) if c.item == name]
        known = {c.events for c in cells}
        assert set(chart.numerator.tolist()) <= known, name
        counted = chart.centre / chart.multiplier * chart.denominator
        assert sum(counted) == pytest.approx(sum(chart.numerator), rel=0.2), name


def test_no_baseline_and_no_month_can_be_chosen():
    names = {parameter.name for parameter in command.params}
    assert names == {"quarter", "comparison", "with_pdf", "renderer", "out", "is_list", "db",
                     "settings", "quiet"}  # fmt: skip


@pytest.mark.parametrize(
    "word", ["plan", "drift", "detectability", "p_value", "run_length", "median", "set_aside"]
)
def test_no_figure_of_another_kind_is_passed_on(passed_on, word):
    """Plans, drift, p-values, run lengths, medians and rows set aside stay at the desk."""
    text, numbers = passed_on
    assert not any(word in key for key in keys_of(numbers))
    assert "rows wait" not in text
    assert "p = " not in text


@pytest.mark.parametrize("family", ["site", "surgeon_type"])
def test_the_network_less_the_groups_told_is_of_nobody_or_of_many(last, family):
    spans = defaultdict(dict)
    for cell in told(last, family):
        spans[cell.item, cell.first, cell.last][cell.group] = cell.events or 0
    for (item, first, end), groups in spans.items():
        inside = [c for c in told(last) if c.item == item and first <= c.first and c.last <= end]
        quarters = {q for c in inside for q in (c.first, c.last)}
        if first in quarters and end in quarters:
            assert is_safe(sum(c.events or 0 for c in inside) - sum(groups.values())), item


def test_nothing_is_told_of_months_nor_of_spans_that_overlap(last):
    """So no quarter less its months, no range that ends in consecutive months, no year before."""
    spans = defaultdict(list)
    for cell in last.cells:
        assert QUARTER.fullmatch(cell.first), cell.item
        assert QUARTER.fullmatch(cell.last), cell.item
        if cell.base is not None:
            spans[cell.item, cell.family, cell.group].append((cell.first, cell.last))
    for name, those in spans.items():
        those.sort()
        assert all(a[1] < b[0] for a, b in pairwise(those)), name


def test_hours_asked_one_at_a_time_take_out_nobody_or_many(last):
    assert told_curves(last)
    for curve in told_curves(last):
        steps = [b - a for a, b in pairwise(curve.removed)]
        assert all(map(is_safe, steps))
        assert curve.base % 10 == 0


def test_a_base_beside_the_number_of_catheters_leaves_ten_numbers_open(last):
    """A denominator less another is no count: each is rounded."""
    bases = [c.base for c in told(last) if c.item == CATHETERS or c.item.startswith((HOUR, REASON))]
    assert bases
    assert all(base % 10 == 0 for base in bases)


def test_items_that_exclude_each_other_leave_no_count_of_those_in_neither(last):
    """Reasons nearly fill the catheters removed; what is left of a rounded number is no count."""
    spans = defaultdict(list)
    for cell in told(last):
        if cell.item.startswith(REASON):
            spans[cell.first, cell.last].append(cell)
    assert spans
    for those in spans.values():
        assert all(is_safe(cell.events) for cell in those)
        assert len({cell.base % 10 for cell in those}) == 1


def test_no_exact_median_stands_beside_a_curve_in_steps(passed_on):
    text, _ = passed_on
    assert "were out by" not in text
