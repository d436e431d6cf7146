"""Pictures of time in place, reasons, models, hazards and pumps: what the ink shows."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import polars as pl
import pytest
from matplotlib import pyplot
from matplotlib.colors import to_rgb
from matplotlib.transforms import Bbox
from PIL import Image
from plotnine import theme

from pipeline.analysis.survival.event_counts import CENSORED, EventCounts
from pipeline.analysis.survival.hazard import by_clock_hour, smoothed_hazard
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.interval_censored import turnbull_curve
from pipeline.analysis.survival.planned_end import from_planned_end
from pipeline.analysis.survival.pump import pump_table
from pipeline.analysis.survival.recurrent import RecurrentEvents, mean_cumulative
from pipeline.analysis.survival.removal_model import ModelResult, fit_removal_model
from pipeline.analysis.survival.time_in_place import time_in_place
from pipeline.answers.calls import CallGroup
from pipeline.figures.calls import calls_figure
from pipeline.figures.forest import by_day_figure, forest_figure
from pipeline.figures.hazard import clock_figure, hazard_figure
from pipeline.figures.incidence import incidence_figure
from pipeline.figures.look import (
    GROUP_COLOURS,
    INK,
    ORANGE,
    REASON_COLOURS,
    SKY,
    Drawing,
    standalone,
)
from pipeline.figures.planned_end import planned_end_figure
from pipeline.figures.pump import pump_figure
from pipeline.figures.steps import spread, stepped
from pipeline.figures.time_in_place import time_in_place_figure
from tests.episodes import count_intervals, from_episodes

REASONS = ("completed", "dislodged", "leakage", "pump_fault", "other")
DPI = 120


def invented(group: str = "", seed: int = 1, n: int = 900) -> EventCounts:
    """Invented episodes: about a third out early, the rest near 72 h."""
    rng = np.random.default_rng(seed)
    out = rng.exponential(180, n)
    planned = 72 + rng.integers(-8, 9, n) / 4
    why = rng.choice([1, 2, 3, 4], n, p=[0.5, 0.3, 0.15, 0.05])
    hours = np.where(out < planned, np.ceil(out * 4) / 4, planned)
    return from_episodes(hours, np.where(out < planned, why, 0), REASONS, group=group)


class Picture:
    """A figure drawn to pixels, with the place of its data."""

    def __init__(self, drawing: Drawing) -> None:
        size = theme(figure_size=(drawing.width_cm / 2.54, drawing.height_cm / 2.54), dpi=DPI)
        figure = (drawing.plot + size).draw()
        buffer = BytesIO()
        figure.savefig(buffer, format="png", dpi=DPI)
        self.pixels = np.asarray(Image.open(buffer).convert("RGB"), float) / 255
        self.to_pixel = figure.axes[0].transData.frozen()
        self.texts = [text.get_text() for axes in figure.axes for text in axes.texts]
        pyplot.close(figure)

    def box(self, x0: float, x1: float, y0: float, y1: float) -> np.ndarray:
        """Pixels between two corners in data units."""
        left, bottom = self.to_pixel.transform((x0, y0))
        right, top = self.to_pixel.transform((x1, y1))
        height = self.pixels.shape[0]
        rows = slice(round(height - top), round(height - bottom))
        return self.pixels[rows, round(left) : round(right)]


def is_colour(pixels: np.ndarray, colour: str, within: float = 0.06) -> np.ndarray:
    return np.all(np.abs(pixels - to_rgb(colour)) < within, axis=-1)


def test_the_stacked_areas_are_the_time_lost_to_each_reason() -> None:
    counts = invented()
    picture = Picture(incidence_figure([incidence(counts)]))
    shares = incidence(counts).at([96]).incidence[0]
    top = float(sum(shares)) - float(shares[REASONS.index("completed")])
    panel = picture.box(0, 96, 0, top)
    lost = incidence(counts).time_lost(96)
    for reason in ("dislodged", "leakage"):
        area = is_colour(panel, REASON_COLOURS[reason]).mean()
        expected = lost.hours[REASONS.index(reason)] / 96 / top
        assert area == pytest.approx(expected, abs=0.012), reason


def test_a_reason_has_one_colour_and_is_named_at_its_band() -> None:
    drawing = incidence_figure([incidence(invented())])
    names = [text for text in Picture(drawing).texts if "%" in text]
    assert any(name.startswith("dislodged") for name in names)
    assert any(name.startswith("pump fault") for name in names)
    assert "most often dislodged" in drawing.title
    assert "still in place" in drawing.alt


def test_groups_stand_side_by_side_with_one_legend() -> None:
    groups = [incidence(invented(name, i, 200)) for i, name in enumerate(("Avocet", "Curlew"))]
    drawing = incidence_figure(groups)
    assert "Avocet" in drawing.alt
    assert "Curlew" in drawing.alt
    assert len((drawing.plot + theme()).draw().axes) == 2
    pyplot.close("all")


def test_the_curve_encloses_the_restricted_mean() -> None:
    curve = time_in_place(invented())
    picture = Picture(time_in_place_figure([curve]))
    panel = picture.box(0, 96, -0.02, 1.02)
    dark = is_colour(panel, INK, 0.25)
    rows = np.arange(panel.shape[0])[:, None]
    heights = 1.02 - 1.04 * (rows * dark).sum(0) / np.maximum(dark.sum(0), 1) / panel.shape[0]
    assert heights[dark.any(axis=0)].mean() == pytest.approx(
        curve.restricted_mean(96).hours / 96, abs=0.015
    )


def test_numbers_still_in_place_stand_under_the_curve() -> None:
    curve = time_in_place(invented())
    picture = Picture(time_in_place_figure([curve]))
    for n in curve.at([0, 24, 48, 72]).n:
        assert f"{n:,}" in picture.texts
    assert "Number still in place" in picture.texts


def test_courses_meet_at_their_planned_end_and_keep_their_names() -> None:
    rows = pl.DataFrame(
        {
            "group": ["planned up to 48 h"] * 3 + ["planned up to 72 h"] * 3,
            "from_end_h": [-24.0, 0.0, 0.0, -48.0, -12.0, 1.0],
            "is_removed": [True] * 6,
            "n": [1, 4, 5, 3, 3, 4],
        }
    )
    drawing = planned_end_figure(from_planned_end(rows))
    assert "90% (planned up to 48 h) and 40% (planned up to 72 h)" in drawing.title
    assert "planned up to 72 h: 70% at -24 h, 40% at -12 h, 40% at +0 h, 0% at +12 h" in drawing.alt
    picture = Picture(drawing)
    assert {"planned up to 48 h", "planned up to 72 h", "planned end"} <= set(picture.texts)
    for y, colour in ((0.9, GROUP_COLOURS[0]), (0.7, GROUP_COLOURS[1])):
        assert is_colour(picture.box(-20, -14, y - 0.02, y + 0.02), colour).any()
        assert not is_colour(picture.box(10, 20, 0.1, 0.3), colour).any()


def test_the_turnbull_check_is_drawn_over_the_curve() -> None:
    counts = invented()
    hours = np.repeat(counts.hours, counts.removed_at)
    check = turnbull_curve(count_intervals(hours, hours), [24, 48], resamples=20)
    drawing = time_in_place_figure([time_in_place(counts)], check=check)
    assert "Turnbull" in drawing.caption
    assert len(Picture(drawing).pixels)


def model() -> ModelResult:
    rng = np.random.default_rng(8)
    n = 3000
    glue, limb = rng.random(n) < 0.5, rng.choice(["upper", "lower"], n)
    out = rng.exponential(150 / np.exp(-0.7 * glue), n)
    hours = np.ceil(np.minimum(out, 72) * 4) / 4
    reason = np.where(out < 72, "dislodged", "completed").tolist()
    rows = {"skin_glue": glue, "limb": limb, "hours": hours, "reason": reason, "n": [1] * n}
    return fit_removal_model(pl.DataFrame(rows), ["skin_glue", "limb"], "dislodged")


def test_forest_plot_has_a_row_a_level_with_ratio_and_risk() -> None:
    result = model()
    assert result.fit is not None
    drawing = forest_figure(result)
    texts = Picture(drawing).texts
    ratio = result.fit.hazard_ratio[0]
    assert any(text.startswith(f"{ratio:.2f} (") for text in texts)
    assert texts.count("1 (reference)") == 2
    assert "Risk by 72 h (limits)" in texts
    assert "less frequent with skin glue: yes" in drawing.title


def test_forest_plot_draws_the_limits_to_scale() -> None:
    result = model()
    assert result.fit is not None
    picture = Picture(forest_figure(result))
    low, high = np.log(result.fit.lower[0]), np.log(result.fit.upper[0])
    row = picture.box(np.log(0.4), np.log(0.97), 1.95, 2.05)  # skin glue: yes
    dark = np.flatnonzero(is_colour(row, INK, 0.3).any(axis=0)) / row.shape[1]
    width = np.log(0.97) - np.log(0.4)
    assert np.log(0.4) + dark.min() * width == pytest.approx(low, abs=0.02)
    assert np.log(0.4) + dark.max() * width == pytest.approx(high, abs=0.02)


def test_forest_plot_says_how_many_are_left_out() -> None:
    result = replace(model(), missing=40)
    assert "40 left out for want of a value (complete cases)" in forest_figure(result).caption
    assert "complete cases" not in forest_figure(model()).caption


def test_without_a_model_there_is_no_forest() -> None:
    with pytest.raises(ValueError, match="no fitted model"):
        forest_figure(replace(model(), fit=None))


def test_ratios_by_day_say_whether_they_hold() -> None:
    result = model()
    assert result.check is not None
    assert result.fit is not None
    drawing = by_day_figure(result.check, result.fit)
    assert "hold over the whole course" in drawing.title
    assert "skin glue p" in drawing.alt
    windows = [text.get_text() for text in axis_labels(drawing)]
    assert windows == ["0-24", "24-48", "from 48"]
    assert Picture(drawing).pixels.min() < 0.3


def axis_labels(drawing: Drawing) -> list:
    figure = drawing.plot.draw()
    labels = list(figure.axes[0].get_xticklabels())
    pyplot.close(figure)
    return labels


def text_boxes(drawing: Drawing) -> tuple[list[Bbox], float]:
    """Return where the words of the panel stand in pixels, and where it ends and cuts them."""
    size = theme(figure_size=(drawing.width_cm / 2.54, drawing.height_cm / 2.54), dpi=DPI)
    figure = (drawing.plot + size).draw()
    figure.canvas.draw()
    boxes = [text.get_window_extent() for axes in figure.axes for text in axes.texts]
    pyplot.close(figure)
    return boxes, figure.axes[0].bbox.x1


def test_words_beside_the_ratios_neither_touch_nor_are_cut() -> None:
    boxes, right = text_boxes(forest_figure(model()))
    assert max(box.x1 for box in boxes) <= right
    for i, one in enumerate(boxes):
        assert not any(one.overlaps(other) for other in boxes[i + 1 :])


def test_the_names_of_rare_reasons_are_not_cut() -> None:
    reasons = tuple(REASON_COLOURS)
    ended = np.repeat(np.arange(len(reasons)), [800, *[8] * (len(reasons) - 1)])
    counts = from_episodes(np.full(len(ended), 60.0), ended, reasons)
    boxes, right = text_boxes(standalone(incidence_figure([incidence(counts)])))
    assert len(boxes) == len(reasons) - 1
    assert max(box.x1 for box in boxes) <= 0.99 * right  # a longer scale leaves less


def test_hazard_rises_where_catheters_come_out() -> None:
    hours = np.concatenate([np.full(60, 12.0), np.full(400, 72.0)])
    counts = from_episodes(hours, np.repeat([1, 0], [60, 400]), REASONS)
    drawing = hazard_figure([smoothed_hazard(counts, "dislodged")])
    assert "about 12 h" in drawing.title
    panel = Picture(drawing).box(0, 72, 0, 60)
    dark = is_colour(panel, INK, 0.25)
    top = np.argmax(dark.any(axis=1))
    at = 72 * np.flatnonzero(dark[top]).mean() / panel.shape[1]
    assert at == pytest.approx(12, abs=1.5)


def test_hazard_by_group_is_named_beside_its_line() -> None:
    curves = [smoothed_hazard(invented(g, i), "dislodged") for i, g in enumerate(("A", "B", "C"))]
    drawing = hazard_figure(curves)
    assert {"A", "B", "C"} <= set(Picture(drawing).texts)
    means = sorted((curve.hazard.mean(), curve.group) for curve in curves)
    assert f"{means[0][0]:.1f} ({means[0][1]})" in drawing.title
    assert f"{means[-1][0]:.1f} ({means[-1][1]})" in drawing.title


def test_mean_calls_are_drawn_with_whole_names_beside_their_lines() -> None:
    rng, names = np.random.default_rng(5), ("interpreter needed: no", "interpreter needed: yes")
    groups = []
    for name, pace in zip(names, (2, 1), strict=True):
        of = np.repeat(np.arange(80), rng.poisson(pace, 80))
        events = RecurrentEvents(np.full(80, 96.0), np.arange(80), of, 96 * rng.random(len(of)))
        curve = mean_cumulative(events, [72.0])
        groups.append(CallGroup(name, name, 80, 60, len(of), curve, events))
    drawing = calls_figure(groups)
    low, high = (float(group.curve.mean[0]) for group in reversed(groups))
    assert drawing.title == (
        f"By 72 h a family has called {low:.2g} times ({names[1]}) to {high:.2g} ({names[0]}) on "
        "average"
    )
    assert "limits allow for families that call again" in drawing.caption
    boxes, right = text_boxes(drawing)
    assert max(box.x1 for box in boxes) <= right
    assert set(names) <= set(Picture(drawing).texts)


def test_clock_hours_say_night_and_day() -> None:
    clock = by_clock_hour([10] * 2, [16.0, 48.0], [True, False], [30, 300], reason="dislodged")
    drawing = clock_figure(clock)
    assert "at night" in drawing.title
    assert "night" in Picture(drawing).texts


def test_pump_bars_are_as_long_as_their_shares() -> None:
    table = pump_table([2, 2, 4], [100] * 3, [72, 20, 72], [True] * 3, [30, 70, 50])
    drawing = pump_figure([*table.rows, table.all_rates])
    picture = Picture(drawing)
    empty = is_colour(picture.pixels, ORANGE).sum(axis=1)
    left = is_colour(picture.pixels, SKY).sum(axis=1)
    rows = (empty > 0) & (left > 0) & (empty + left > 0.4 * picture.pixels.shape[1])
    shares = np.unique(np.round(empty[rows] / (empty + left)[rows], 1))
    assert {0.3, 0.5} <= set(shares)  # 2 ml/h: 30%; all rates: 80 of 150
    assert "53% of pumps were empty" in drawing.title


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_the_same_results_draw_the_same_bytes(tmp_path, suffix: str) -> None:
    counts = invented()
    files = []
    for name in ("one", "two"):
        drawing = incidence_figure([incidence(counts)])
        files.append(drawing.save(tmp_path / f"{name}.{suffix}").read_bytes())
    assert files[0] == files[1]


def test_figures_of_thin_data_can_be_drawn() -> None:
    one = from_episodes([30], [1], REASONS)
    last = from_episodes([20, 40], [CENSORED, CENSORED], REASONS)
    for counts in (one, last):
        Picture(time_in_place_figure([time_in_place(counts)]))
        Picture(incidence_figure([incidence(counts)]))
        Picture(hazard_figure([smoothed_hazard(counts, "dislodged")]))
    groups = [replace(incidence(last), group=name) for name in ("Avocet", "Curlew")]
    Picture(incidence_figure(groups))


def test_corners_of_a_step() -> None:
    hours, (heights,) = stepped(
        np.array([10.0, 20.0]), [np.array([0.5, 0.0])], [1.0], 30, all_out=True
    )
    assert hours.tolist() == [0, 10, 10, 20, 20, 30]
    assert heights.tolist() == [1, 1, 0.5, 0.5, 0, 0]


def test_labels_move_apart_in_their_order() -> None:
    assert spread([0.5, 0.5, 0.51], 0.1, 0, 1) == pytest.approx([0.5, 0.6, 0.7])
    moved = spread([0.95, 0.97, 0.99], 0.1, 0, 1)
    assert moved == pytest.approx([0.8, 0.9, 1.0])
