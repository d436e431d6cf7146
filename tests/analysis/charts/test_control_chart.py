"""What a chart does with phases, provisional points, odd counts and bad input."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.analysis.charts import Change, Counts, control_chart, control_charts
from pipeline.analysis.charts.limits import TAIL
from pipeline.analysis.charts.phases import Need
from pipeline.words.chart import headline, notes, reason, signal_sentence, told_apart


def months(k, start=2021):
    return tuple(f"{start + i // 12}-{i % 12 + 1:02d}" for i in range(k))


def series(numerator, denominator, **flags):
    return Counts(months(len(numerator)), numerator, denominator, **flags)


def kinds(chart):
    return {signal.kind for signal in chart.signals}


def halved(k=36, change=18):
    """Make a rate of 12 in 40 that halves at a change; invented."""
    rng = np.random.default_rng(4)
    return rng.binomial(40, np.where(np.arange(k) < change, 0.3, 0.15)), np.full(k, 40)


def test_limits_are_frozen_at_the_change_and_set_anew_after_it():
    x, n = halved()
    change = Change("2022-07", "Skin glue", new_phase=True)
    chart = control_chart(series(x, n), kind="p", changes=[change])
    assert [phase.first for phase in chart.phases] == ["2021-01", "2022-07"]
    assert chart.phases[0].centre == x[:18].sum() / 720
    assert chart.phases[1].centre == x[18:30].sum() / 480  # half of 24 months
    assert chart.phases[1].change == "Skin glue"
    assert not chart.phases[1].carried_forward


def test_a_short_new_phase_is_judged_by_the_limits_before_it():
    x, n = halved(k=28)
    change = Change("2022-07", "Skin glue", new_phase=True)
    chart = control_chart(series(x, n), kind="p", changes=[change])
    assert chart.phases[1].carried_forward
    assert np.unique(chart.centre).tolist() == [x[:18].sum() / 720]
    run = next(s for s in chart.signals if s.kind == "long_run")
    assert run.direction == "below"
    assert run.first == "2022-07"


def test_a_change_that_asks_for_no_phase_is_drawn_only():
    x, n = halved()
    chart = control_chart(series(x, n), kind="p", changes=[Change("2022-07", "Skin glue")])
    assert len(chart.phases) == 1
    assert [change.title for change in chart.changes] == ["Skin glue"]


def test_a_change_in_the_future_is_a_sentence():
    x, n = halved()
    chart = control_chart(series(x, n), kind="p", changes=[Change("2031-01", "New pump", True)])
    assert chart.changes == ()
    assert "Jan 2031, after the last point" in notes(chart)[0]


def test_provisional_points_set_no_limit_and_start_no_signal():
    x, n = np.array([4] * 24 + [40]), np.full(25, 40)
    late = np.arange(25) == 24
    sure = control_chart(series(x, n), kind="p")
    open_ = control_chart(series(x, n, provisional=late), kind="p")
    assert "beyond_limit" in kinds(sure)
    assert "beyond_limit" not in kinds(open_)
    assert open_.centre[0] == 0.1
    assert np.isfinite(open_.upper[24])


def test_fewer_than_twelve_points_make_a_run_chart():
    chart = control_chart(series([3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5], [20] * 11), kind="p")
    assert chart.kind == "run"
    assert reason(chart) == "Run chart: 11 complete points, too few for limits."
    assert chart.centre[0] == 4 / 20
    assert not np.isfinite(chart.upper).any()


def test_overdispersion_chooses_the_laney_chart_and_says_why():
    rng = np.random.default_rng(2)
    n = np.full(36, 400)
    x = rng.binomial(n, rng.beta(12, 36, 36))
    chart = control_chart(series(x, n), kind="p")
    assert chart.kind == "p'"
    assert "varies more than a binomial chart allows" in reason(chart)
    assert "sigma-z" in reason(chart)
    assert control_chart(series(x, n), kind="p", forced=True).kind == "p"


def test_in_control_series_seldom_choose_the_laney_chart():
    """Two signs are asked for; together they seldom come by chance."""
    rng = np.random.default_rng(5)
    charts = control_charts([series(rng.binomial(40, 0.1, 36), [40] * 36) for _ in range(400)],
                            kind="p")  # fmt: skip
    assert np.mean([chart.kind == "p'" for chart in charts]) < 0.05


def test_months_without_a_catheter_leave_a_gap_and_break_nothing():
    x, n = halved()
    n = n.copy()
    n[[3, 20]] = 0
    chart = control_chart(series(x, n), kind="p")
    assert np.isnan(chart.value[[3, 20]]).all()
    assert np.isnan(chart.upper[[3, 20]]).all()
    assert all(3 not in s.points and 20 not in s.points for s in chart.signals)


def test_after_a_year_without_events_three_in_a_month_signal_and_one_does_not():
    n = np.full(14, 20)
    quiet = np.zeros(14)
    for events, expected in ((1, False), (2, False), (3, True)):
        x = quiet.copy()
        x[13] = events
        chart = control_chart(series(x, n), kind="u", need=Need(12, 0), forced=True)
        assert ("beyond_limit" in kinds(chart)) == expected
    # the same by the conditional binomial: all of 3 events in one month of 13
    assert (1 / 13) ** 3 < TAIL < (1 / 13) ** 2


@pytest.mark.parametrize("kind", ["p", "u", "run", "g", "t"])
@pytest.mark.parametrize(
    ("x", "n"),
    [
        ([], []),
        ([0], [0]),
        ([3], [20]),
        ([0] * 30, [20] * 30),
        ([20] * 30, [20] * 30),
        ([0] * 30, [0] * 30),
        ([0] * 12 + [20] * 12, [20] * 24),
    ],
)
def test_odd_series_give_a_chart_within_bounds(kind, x, n):
    for forced in (False, True):
        for late in (False, True):
            flags = np.full(len(x), late)
            chart = control_chart(series(x, n, provisional=flags), kind=kind, forced=forced)
            assert len(chart) == len(x)
            assert_within_bounds(chart)


def assert_within_bounds(chart):
    drawn = np.isfinite(chart.upper)
    assert (chart.lower[drawn] >= 0).all()
    if chart.kind in {"p", "p'"}:
        assert (chart.upper[drawn] <= 1).all()
    assert (chart.lower[drawn] <= chart.centre[drawn] + 1e-12).all()
    assert (chart.upper[drawn] >= chart.centre[drawn] - 1e-12).all()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60), st.booleans()), max_size=40),
    st.sampled_from(["p", "u", "run"]),
)
def test_limits_stay_within_bounds_and_marked_points_never_signal(points, kind):
    x = np.array([min(a, b) for a, b, _ in points])
    n = np.array([b for _, b, _ in points])
    late = np.array([flag for _, _, flag in points], dtype=bool)
    chart = control_chart(series(x, n, provisional=late), kind=kind)
    assert_within_bounds(chart)
    named = {i for signal in chart.signals for i in signal.points}
    assert not named & set(np.flatnonzero(late | (n == 0)).tolist())


def test_many_series_at_once_equal_each_alone():
    rng = np.random.default_rng(3)
    many = [series(rng.binomial(n, 0.1), n) for n in rng.integers(0, 40, (20, 30))]
    many.append(series([1, 2], [9, 9]))
    log = [Change("2022-01", "Longer tunnel", True)]
    together = control_charts(many, kind="p", changes=[log] * len(many))
    for alone, chart in zip(many, together, strict=True):
        single = control_chart(alone, kind="p", changes=log)
        for name in ("value", "centre", "lower", "upper"):
            np.testing.assert_array_equal(getattr(single, name), getattr(chart, name))
        assert single.signals == chart.signals
        assert single.kind == chart.kind


def test_a_series_is_cut_at_a_month():
    x, n = halved()
    cut = series(x, n).until("2021-12")
    assert cut.periods[-1] == "2021-12"
    np.testing.assert_array_equal(cut.numerator, x[:12])
    assert series(x, n).until("2020-12").periods == ()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: series([1, 2], [3]), "one length"),
        (lambda: series([1], [-3]), "zero or more"),
        (lambda: Counts(("2021-02", "2021-01"), [1, 1], [2, 2]), "time order"),
        (lambda: control_chart(series([3], [2]), kind="p"), "above its denominator"),
        (lambda: control_chart(series([-1], [2]), kind="u"), "below zero"),
        (lambda: control_chart(series([1], [2]), kind="pie"), "unknown chart"),
    ],
)
def test_impossible_input_is_refused_in_words(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_sentences_name_the_points():
    x, n = halved()
    chart = control_chart(
        series(x, n), kind="p", multiplier=100, unit="per 100 catheters",
        need=Need(18, 20),
    )  # fmt: skip
    run = next(s for s in chart.signals if s.kind == "long_run")
    sentence = signal_sentence(chart, run)
    assert sentence.startswith(f"{len(run.points)} points in a row below the centre line, ")
    assert "Jul 2022 to" in sentence
    assert sentence.endswith("as rare as eight at even odds.")


def test_a_value_and_its_limit_are_written_apart():
    assert told_apart(0.3521, 0.2) == ("0.35", "0.20")
    assert told_apart(70.31, 70.44) == ("70.3", "70.4")
    assert told_apart(70.311, 70.344) == ("70.31", "70.34")


def test_none_and_every_one_come_with_the_end_of_their_limits():
    """Zero of 600: 1 - 0.025^(1/600), Clopper and Pearson; 30 months of 20."""
    none = control_chart(series([0] * 30, [20] * 30), kind="p", multiplier=100)
    assert headline(none, "x").endswith("baseline, so far 0 (at most 0.61 by its 95% limits)")
    every = control_chart(series([20] * 30, [20] * 30), kind="p", multiplier=100)
    assert (
        headline(every, "x")
        == "x: setting its baseline, so far 100 (at least 99.4 by its 95% limits)"
    )


BASE = np.resize([1, 2, 1, 2], 24)


def test_the_first_24_complete_months_are_kept_and_a_higher_level_does_not_move_them():
    """13 a month, 12% for two years and then 28%: the centre line stays where it was."""
    x = np.concatenate([BASE, np.resize([4, 3, 4, 4], 12)])
    chart = control_chart(series(x, [13] * 36), kind="p")
    assert np.unique(chart.centre).tolist() == [BASE.sum() / (24 * 13)]
    assert (chart.phases[0].baseline_first, chart.phases[0].baseline_last) == ("2021-01", "2022-12")
    assert {s.direction for s in chart.signals if s.kind == "long_run"} == {"above"}


def test_a_baseline_with_few_events_goes_on_until_it_holds_20():
    x = np.resize([1, 0], 60)
    chart = control_chart(series(x, [15] * 60), kind="p")
    assert chart.phases[0].baseline_points == 39
    assert control_chart(series(x[:38], [15] * 38), kind="p").is_setting_baseline
    assert control_chart(series(x, [15] * 60), kind="p", need=Need(24, 10)).phases[
        0].baseline_points == 24  # fmt: skip


def test_while_the_baseline_is_set_only_points_far_out_are_told():
    x = np.array([*BASE[:16], 9, 2, 2, 2])
    chart = control_chart(series(x, [13] * 20), kind="p")
    assert chart.is_setting_baseline
    assert kinds(chart) == {"beyond_limit"}
    assert "Setting its baseline" in notes(chart)[0]


def test_a_logged_change_keeps_the_past_baseline_until_its_own_holds_half_the_months():
    x = np.concatenate([BASE, np.full(20, 3)])
    change = [Change("2023-01", "Skin glue", new_phase=True)]
    early = control_chart(series(x[:35], [13] * 35), kind="p", changes=change)
    assert early.phases[1].carried_forward
    assert early.kept[24:].all()
    late = control_chart(series(x, [13] * 44), kind="p", changes=change)
    assert late.phases[1].baseline_points == 12
    assert late.centre[0] == early.centre[0]


def chance_beyond(n, rate=0.08, ratio=2.0):
    """Chance that one month of a doubled rate lies above the limit of the rate before."""
    base = series(np.full(24, rate * n), [n] * 24)
    chart = control_chart(base, kind="p", forced=True)
    return float(stats.binom(n, ratio * rate).sf(round(chart.upper[0] * n)))


def test_more_catheters_never_make_a_chart_slower():
    """A doubling of 8%; one count is whole, so that in between a step may be level."""
    found = [chance_beyond(n) for n in (10, 15, 20, 30, 60, 90)]
    assert found == sorted(found)


def test_a_run_is_measured_by_how_likely_its_side_was():
    """At half an event a month six of ten months are below the mean: eight there are no run."""
    base = np.resize([0, 1, 0, 1, 0, 1], 60)
    low = control_chart(series([*base, *[0] * 8], [5] * 68), kind="u", need=Need(24, 0))
    high = control_chart(series([*base, *[1] * 6], [5] * 66), kind="u", need=Need(24, 0))
    assert "long_run" not in kinds(low)
    assert "long_run" in kinds(high)
