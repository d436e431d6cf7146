"""Pictures of control charts: what stands where, and what the words around them say."""

import re

import numpy as np
import pytest

from pipeline.analysis.charts import Change, Counts, control_chart
from pipeline.figures import chart_frames as frames
from pipeline.figures.control_chart import control_chart_figure, small_multiples

MONTHS = tuple(f"{2023 + i // 12}-{i % 12 + 1:02d}" for i in range(36))


def chart(x=None, n=40, kind="p", changes=(), periods=MONTHS, **flags):
    """Make a chart of 4 in 40 each month unless told otherwise; invented."""
    k = len(periods)
    x = np.resize([3, 5, 4, 6, 2], k) if x is None else np.asarray(x)
    counts = Counts(periods, x, np.full(k, n), **flags)
    return control_chart(
        counts,
        kind=kind,
        changes=changes,
        multiplier=100,
        unit="per 100 catheters",
        forced=len(periods) >= 12,
    )


def high_in(month):
    x = np.resize([3, 5, 4, 6, 2], 36).copy()
    x[MONTHS.index(month)] = 20
    return x


def points(one):
    return frames.point_frame({"": one}, frames.Timeline.over([one]))


def test_a_signal_is_dark_and_its_month_is_written():
    drawn = points(chart(high_in("2024-05")))
    signals = drawn[drawn["state"] == "signal"]
    assert signals["label"].tolist() == ["May 2024"]
    assert (drawn["state"] == "in control").sum() == 35


def test_provisional_points_are_hollow():
    last = np.arange(36) >= 35
    one = chart(provisional=last)
    drawn = points(one)
    assert drawn["state"].tolist().count("provisional") == 1
    assert len(drawn) == 36
    assert "hollow points are provisional" in control_chart_figure(one, "x").caption


def test_limits_are_steps_that_break_between_phases_and_at_gaps():
    n = np.full(36, 40)
    n[10] = 0
    x = np.resize([3, 5, 4, 6, 2], 36)
    x[10] = 0
    counts = Counts(MONTHS, x, n)
    one = control_chart(counts, kind="p", changes=[Change("2024-07", "Glue", True)])
    steps = frames.step_frame({"": one}, frames.Timeline.over([one]), "upper")
    assert steps["piece"].nunique() == 3
    first = steps[steps["piece"] == steps["piece"].iloc[-1]]
    assert first["x"].iloc[0] == 17.5  # half a month before July 2024
    assert (steps.groupby("piece")["x"].diff().dropna() >= 0).all()


def test_a_limit_that_no_point_can_pass_is_not_drawn():
    low = frames.step_frame({"": chart()}, frames.Timeline.over([chart()]), "lower")
    assert low.empty  # three sigma under 10% of 40 is below zero


def test_the_centre_value_stands_at_the_end_of_each_phase():
    x = np.concatenate([np.resize([5, 7], 18), np.resize([1, 3], 18)])
    one = chart(x, changes=[Change("2024-07", "Glue", True)])
    labels = frames.centre_labels({"": one}, frames.Timeline.over([one]))
    assert labels["label"].tolist() == ["15", "5.0"]
    assert labels["is_end"].tolist() == [False, True]
    assert labels["x"].tolist() == [17.5, 35.5]


def test_changes_are_labelled_verticals_and_one_month_has_one():
    log = [Change("2024-07", "Skin glue"), Change("2024-07", "Leaflet"), Change("2025-01", "Pump")]
    one = chart(changes=log)
    drawn = frames.change_frame({"": one}, frames.Timeline.over([one]))
    assert drawn["label"].tolist() == ["Skin glue; Leaflet", "Pump"]
    assert drawn["row"].tolist() == [0, 1]


def test_events_of_one_month_are_spread_within_it():
    periods = ("2024-01", "2024-01", "2024-04")
    x = frames.positions(periods, frames.Timeline(frames.place("2024-01"), 0, 12))
    np.testing.assert_allclose(x, [-0.25, 0.25, 3.0])


@pytest.mark.parametrize(
    ("first", "k", "ticks"),
    [("2025-01", 6, ["Jan\n2025", "Feb", "Mar", "Apr", "May", "Jun"]),
     ("2023-01", 36, ["Jan\n2023", "Jul", "Jan\n2024", "Jul", "Jan\n2025", "Jul"])],
)  # fmt: skip
def test_axis_labels_are_few_and_carry_the_year(first, k, ticks):
    start = frames.place(first)
    assert frames.Timeline(start, start + k - 1, 12).ticks()[1] == ticks


def test_quarters_have_their_own_axis():
    start = frames.place("2024-Q1")
    assert frames.Timeline(start, start + 5, 4).ticks()[1] == [
        "Q1\n2024", "Q2", "Q3", "Q4", "Q1\n2025", "Q2",
    ]  # fmt: skip


def test_the_title_states_the_finding_and_the_caption_the_method():
    figure = control_chart_figure(chart(high_in("2024-05")), "Dislodgement")
    assert figure.title == "Dislodgement: above the limit in May 2024"
    assert figure.caption.startswith("p chart; centre line the mean of 24 points, Jan 2023 to")
    quiet = control_chart_figure(chart(), "Dislodgement")
    assert quiet.title == "Dislodgement: steady at 10 per 100 catheters"


def test_a_change_of_phase_is_said_without_claiming_a_cause():
    x = np.concatenate([np.resize([5, 7], 18), np.resize([1, 3], 18)])
    figure = control_chart_figure(chart(x, changes=[Change("2024-07", "Glue", True)]), "Leakage")
    assert figure.title == "Leakage: down from 15 to 5.0 per 100 catheters since Jul 2024"
    assert "because" not in figure.title + figure.alt


def test_the_alternative_text_states_the_numbers():
    alt = control_chart_figure(chart(high_in("2024-05")), "Dislodgement").alt
    assert "36 points from Jan 2023 to Dec 2025" in alt
    assert re.search(r"Centre line 12, limits 0 to 28\.", alt)
    assert "May 2024 lies above the upper limit: 50 per 100 catheters against 28." in alt


CASES = {
    "quiet": chart,
    "signal": lambda: chart(high_in("2024-05")),
    "phases": lambda: chart(changes=[Change("2024-07", "Glue", True), Change("2024-09", "Pump")]),
    "run": lambda: chart(periods=MONTHS[:7]),
    "one point": lambda: chart(periods=MONTHS[:1]),
    "no point": lambda: chart(periods=()),
    "no catheters": lambda: chart(np.zeros(36), n=0),
    "all zero": lambda: chart(np.zeros(36)),
    "all": lambda: chart(np.full(36, 40)),
    "gaps": lambda: chart(np.resize([12.0, 80, 30], 36), n=1, kind="t"),
}


@pytest.mark.parametrize("name", CASES)
def test_every_chart_can_be_drawn(name, tmp_path):
    figure = control_chart_figure(CASES[name](), "Dislodgement")
    assert b"<svg" in figure.save(tmp_path / "a.svg").read_bytes()
    assert figure.alt


def test_the_same_chart_is_the_same_bytes(tmp_path):
    figure = control_chart_figure(CASES["phases"](), "Dislodgement")
    first = figure.save(tmp_path / "a.svg").read_bytes()
    assert first == figure.save(tmp_path / "b.svg").read_bytes()


def test_small_multiples_name_the_panels_that_signal(tmp_path):
    panels = {"Curlew": chart(), "Dunlin": chart(high_in("2024-05")), "<b>Knot</b>": chart()}
    figure = small_multiples(panels, "Dislodgement by site")
    assert figure.title == "Dislodgement by site: signals in Dunlin"
    assert "one scale for all" in figure.caption
    assert "p chart of Curlew" in figure.alt
    figure.save(tmp_path / "many.png")
    assert (tmp_path / "many.png").stat().st_size > 10_000
    own = small_multiples(panels, "Curlew", common_axes=False)
    assert "each panel its own scale" in own.caption


def test_many_panels_fit_one_page_and_each_says_what_signals():
    panels = {f"Site {i}": chart(high_in("2024-05")) if i == 7 else chart() for i in range(200)}
    figure = small_multiples(panels, "Dislodgement")
    assert figure.width_cm <= 31
    assert figure.height_cm <= 48  # a page of A3, with its margins
    assert figure.title == "Dislodgement: signals in Site 7"
    drawn = figure.plot.layers[0]._data["panel"].cat.categories
    assert "Site 7: limit" in set(drawn)
    assert "Site 8" in set(drawn)


def test_a_month_is_written_clear_of_the_points_beside_it():
    x = np.resize([3, 5, 4, 6, 2], 36).copy()
    x[[15, 16, 17]] = [18, 17, 19]
    drawn = points(chart(x)).query("label != ''")
    shown = points(chart(x))
    for _, row in drawn.iterrows():
        beside = shown[(shown["x"] - row["x"]).abs() <= 1]["y"]
        assert not ((beside > row["label_y"]) & (beside < row["label_y"] + 2)).any()
