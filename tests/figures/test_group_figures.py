"""Funnels, ratios, calibration and change plots: what is drawn, what is left out, words."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analysis.change.effect import SiteMonths, assess
from pipeline.analysis.comparison.compare import compare, in_order, with_calls
from pipeline.analysis.comparison.funnel import funnel
from pipeline.figures.change import change_figure
from pipeline.figures.funnel import _funnel_alt, _funnel_points, funnel_figure
from pipeline.figures.ratios import calibration_figure, ratio_figure
from pipeline.measures.catalogue import load_catalogue
from pipeline.words.numbers import figure as spoken_figure
from tests.analysis.networks import ALIKE, episodes, reduce, with_values
from tests.analysis.test_change import MONTHS, STARTED, network

MEASURE = load_catalogue()["dislodgement"]


@pytest.fixture(scope="module")
def comparison():
    rng = np.random.default_rng(31)
    frame = episodes(rng, [300, 260, 240, 220, 60])
    p = np.where(frame["site"] == "dunlin", 0.25, 0.12 - 0.02 * frame["older"].to_numpy())
    frame = with_values(frame, rng.binomial(1, p), np.ones(len(frame)))
    counts = reduce(frame, ["site", "age_years"])
    (done,) = with_calls(
        [
            compare(
                counts, by="site", terms=("age_years",), kind="proportion", multiplier=100,
                prior=ALIKE,
            )
        ]
    )  # fmt: skip
    return done


def test_a_funnel_states_its_finding_method_and_numbers(comparison):
    got = funnel_figure(comparison, MEASURE, labels={"dunlin": "Dunlin"})
    assert got.title == "Dislodged catheters: Dunlin above what is expected"
    assert "exact binomial limits" in got.caption
    assert "Not a ranking" in got.caption
    for row in comparison.rows:
        assert f"{row.rate:.3g} of {row.denominator:,.0f}" in got.alt


def test_ratios_stand_in_the_order_of_the_rows(comparison):
    for order in ("name", "volume"):
        ordered = in_order(comparison, order)
        got = ratio_figure(ordered, MEASURE)
        places = [got.alt.index(row.group) for row in ordered.rows]
        assert places == sorted(places)
    assert "dunlin above" in got.title
    assert "false discovery rate of 5%" in got.caption
    assert "given age" in got.caption


def test_no_call_is_no_finding(comparison):
    quiet = replace(comparison, rows=tuple(replace(r, called=False) for r in comparison.rows))
    got = ratio_figure(quiet, MEASURE)
    assert got.title.endswith("no site is called different")


def test_calibration_says_how_well_the_model_tells_children_apart(comparison):
    assert "c-statistic" in calibration_figure(comparison, MEASURE).caption


def test_a_change_plot_has_a_point_a_month():
    effect = assess(
        network(np.random.default_rng(3)), started_month=STARTED, sites=["godwit"],
        kind="proportion",
    )  # fmt: skip
    assert len(change_figure(effect, MEASURE, name="Glue").plot.data) == len(MONTHS)


def test_a_change_plot_claims_no_more_than_association():
    effect = assess(
        network(np.random.default_rng(4)), started_month=STARTED, sites=["godwit"],
        kind="proportion",
    )  # fmt: skip
    got = change_figure(effect, MEASURE, name="Glue")
    assert "An association, not a proof" in got.caption
    assert f"{spoken_figure(float(effect.before.rate))} per" in got.title
    assert "ratio" in got.alt


def test_a_change_of_few_months_has_no_trend_drawn():
    whole = network(np.random.default_rng(5))
    short = SiteMonths(
        MONTHS[9:16], whole.sites, whole.numerator[:, 9:16], whole.denominator[:, 9:16]
    )
    effect = assess(short, started_month=STARTED, sites=["godwit"], kind="proportion")
    got = change_figure(effect, MEASURE, name="Glue")
    assert "segmented" not in got.caption


@pytest.mark.parametrize("kind", ["funnel", "ratios", "calibration", "change"])
def test_each_picture_is_the_same_twice(comparison, tmp_path, kind):
    effect = assess(
        network(np.random.default_rng(6)), started_month=STARTED, sites=["godwit"],
        kind="proportion",
    )  # fmt: skip
    made = {
        "funnel": lambda: funnel_figure(comparison, MEASURE),
        "ratios": lambda: ratio_figure(comparison, MEASURE),
        "calibration": lambda: calibration_figure(comparison, MEASURE),
        "change": lambda: change_figure(effect, MEASURE, name="Glue"),
    }[kind]
    first = made().save(tmp_path / "first.svg").read_bytes()
    second = made().save(tmp_path / "second.svg").read_bytes()
    assert first == second
    assert len(first) > 5000


def test_of_many_groups_the_alternative_text_names_those_outside_the_limits():
    rng = np.random.default_rng(3)
    sites = [f"s{i:03d}" for i in range(60)]
    n = np.full(60, 400.0)
    y = rng.binomial(400, 0.1, 60).astype(float)
    y[7] = 110.0
    made = funnel(sites, y, n, kind="proportion", multiplier=100.0)
    alt = _funnel_alt(MEASURE, made, _funnel_points(made, [False] * 60))
    assert "s007 27.5 of 400 (outside" in alt
    assert "others inside the limits." in alt
    assert len(alt) < 600
