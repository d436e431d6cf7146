"""Forest plot of a model, with absolute risks beside the ratios; ratios by day."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    element_blank,
    element_text,
    facet_wrap,
    geom_hline,
    geom_linerange,
    geom_point,
    geom_segment,
    geom_text,
    ggplot,
    labs,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.survival.absolute_risks import AbsoluteRisk
from pipeline.analysis.survival.model_data import ModelFit
from pipeline.analysis.survival.ph_checks import PhCheck, WindowRatio
from pipeline.analysis.survival.removal_model import ModelResult
from pipeline.figures.look import CENTRE, INK, LABEL_SIZE, MUTED, POINT, WIDE_CM, Drawing, look
from pipeline.words.codes import effect_of, noun_of, quantity_of, words_of
from pipeline.words.numbers import count, p_value, percent, with_limits
from pipeline.words.numbers import ratio as ratio_text

TICKS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
ROW_CM = 0.62
COLUMNS_AT = (0.05, 0.78, 1.6)  # two columns of words and their end, in widths of the ratios
MOST_COLUMNS = 9  # of the picture by day
MODEL_WORDS = {
    "cox": ("hazard ratio", "Cause-specific Cox model"),
    "finegray": ("subdistribution hazard ratio", "Fine-Gray model"),
}


def forest_figure(result: ModelResult) -> Drawing:
    """Draw the ratios of a fitted model, the reference levels hollow, risks at the right.

    Raises
    ------
    ValueError
        If nothing was fitted.
    """
    if result.fit is None:
        raise ValueError("there is no fitted model to draw")
    frame = _rows(result, result.fit)
    low, high = _range(frame)
    span = np.log(high) - np.log(low)
    ratio_at, risk_at, end = (np.log(high) + share * span for share in COLUMNS_AT)
    shown = frame.dropna(subset=["ratio"])
    estimated = shown[~shown["is_reference"]]
    plot = ggplot(shown, aes("ratio", "y"))
    plot += annotate("segment", x=0, xend=0, y=-0.6, yend=len(frame) - 0.4, color=CENTRE, size=0.4)
    plot += geom_segment(aes("lower", "y", xend="upper", yend="y"), data=estimated, color=INK)
    plot += geom_point(data=estimated, color=INK, size=2)
    plot += geom_point(
        data=shown[shown["is_reference"]], color=POINT, fill="white", size=2, stroke=0.6
    )
    plot += _column(frame, ratio_at, "ratio_text", "Ratio (95% limits)")
    if result.risks:
        head = f"Risk by {result.risks[0].hour:g} h (limits)"
        plot += _column(frame, risk_at, "risk_text", head)
    ticks = [t for t in TICKS if low <= t <= high]
    plot += scale_x_continuous(breaks=list(np.log(ticks)), labels=[f"{t:g}" for t in ticks])
    plot += scale_y_continuous(breaks=list(frame["y"]), labels=list(frame["label"]))
    plot += coord_cartesian(
        xlim=(np.log(low), end),
        ylim=(-0.6, len(frame) + 0.5),
        expand=False,
    )
    ratio, method = MODEL_WORDS[result.model]
    plot += labs(x=f"{ratio.capitalize()} (log scale)", y="")
    plot += look(
        legend_position="none",
        panel_grid_major=element_blank(),
        axis_text_y=element_text(size=LABEL_SIZE, color=INK),
        axis_title_x=element_text(ha=0.0, size=LABEL_SIZE, color=MUTED),
    )
    return Drawing(
        plot,
        title=_title(result, result.fit),
        caption=(
            f"{method} for {noun_of(result.reason)}; limits from errors clustered on the child; "
            f"{_counts(result, result.fit)}. Risks are for a child usual in all else."
        ),
        alt=_alt(result.fit),
        width_cm=WIDE_CM[0],
        height_cm=2.6 + ROW_CM * len(frame),
    )


def _counts(result: ModelResult, fit: ModelFit) -> str:
    """Say how many catheters and removals there are, and how many are left out."""
    removals = count(fit.events, "removal")
    found = f"{count(fit.episodes, 'catheter')}, {removals} for this reason"
    if not result.missing:
        return found
    return f"{found}, {result.missing:,} left out for want of a value (complete cases)"


def by_day_figure(check: PhCheck, fit: ModelFit) -> Drawing:
    """Draw each coefficient's ratio by day against its ratio over the whole course.

    Level points mean proportional hazards.
    """
    frame = pd.DataFrame(
        [
            (
                effect_of(window.column.term, window.column.level),
                _window_words(window, check),
                np.log(window.hazard_ratio),
                np.log(window.lower),
                np.log(window.upper),
            )
            for window in check.windows
        ],
        columns=["label", "window", "ratio", "lower", "upper"],
    )
    labels = [effect_of(column.term, column.level) for column in fit.columns[:MOST_COLUMNS]]
    frame = frame[frame["label"].isin(labels)]
    frame["label"] = pd.Categorical(frame["label"], labels)
    windows = list(dict.fromkeys(frame["window"]))
    frame["window"] = pd.Categorical(frame["window"], windows)
    whole = pd.DataFrame(
        {
            "label": pd.Categorical(labels, labels),
            "ratio": fit.coefficients[: len(labels)],
        }
    )
    left_out = len(fit.columns) - len(labels)
    low, high = _limits_of(frame["lower"], frame["upper"])
    ticks = [t for t in TICKS if low <= t <= high]
    plot = ggplot(frame, aes("window", "ratio"))
    plot += geom_hline(aes(yintercept="ratio"), data=whole, color=CENTRE, size=0.4)
    plot += geom_linerange(aes(ymin="lower", ymax="upper"), color=POINT)
    plot += geom_point(color=INK, size=1.8)
    plot += facet_wrap("label", ncol=3)
    plot += scale_y_continuous(breaks=list(np.log(ticks)), labels=[f"{t:g}" for t in ticks])
    plot += coord_cartesian(ylim=(np.log(low), np.log(high)))
    plot += labs(x="Hours since placement", y="Hazard ratio (log scale)")
    plot += look(panel_spacing=0.03)
    return Drawing(
        plot,
        title=_check_title(check),
        caption=(
            "Hazard ratio within each day, with 95% limits; line: over the whole course. "
            "Test: score test of a ratio that changes with time (Grambsch and Therneau)."
            + (f" {left_out} more coefficients are tested and not drawn." if left_out else "")
        ),
        alt=_check_alt(check),
        width_cm=WIDE_CM[0],
        height_cm=2.4 + 4.2 * -(-len(labels) // 3),
    )


def _window_words(window: WindowRatio, check: PhCheck) -> str:
    """Name a window of hours; the last has no end."""
    last = max(w.from_h for w in check.windows)
    if window.from_h == last:
        return f"from {last:g}"
    return f"{window.from_h:g}-{window.until_h:g}"


def _rows(result: ModelResult, fit: ModelFit) -> pd.DataFrame:
    """One row a coefficient, and one a reference level, from the top down."""
    risks = {(r.child.term, r.child.value): r for r in result.risks}
    rows: list[tuple[str, float, float, float, bool, str, str]] = []
    seen: set[str] = set()
    for i, column in enumerate(fit.columns):
        if column.reference is not None and column.term not in seen:
            risk = _risk_text(risks.get((column.term, column.reference)))
            label = f"{words_of(column.term)}: {words_of(column.reference)}"
            rows.append((label, 0.0, 0.0, 0.0, True, "1 (reference)", risk))
        seen.add(column.term)
        ends = (fit.hazard_ratio[i], fit.lower[i], fit.upper[i])
        text = with_limits(*ends, ratio_text)
        if column.level is None:
            risk = _ends(result, column.term)
        else:
            risk = _risk_text(risks.get((column.term, column.level)))
        ratio, lower, upper = (float(np.log(e)) for e in ends)
        rows.append((effect_of(column.term, column.level), ratio, lower, upper, False, text, risk))
    names = ["label", "ratio", "lower", "upper", "is_reference", "ratio_text", "risk_text"]
    frame = pd.DataFrame(rows, columns=names)
    frame["y"] = np.arange(len(frame))[::-1].astype(float)
    return frame


def _ends(result: ModelResult, term: str) -> str:
    """Risks at the two ends of a number."""
    ends = [r for r in result.risks if r.child.term == term]
    return ", ".join(f"{percent(r.risk)} at {r.child.value}" for r in ends)


def _risk_text(risk: AbsoluteRisk | None) -> str:
    if risk is None:
        return ""
    return f"{percent(risk.risk)} ({percent(risk.lower)} to {percent(risk.upper)})"


def _column(frame: pd.DataFrame, at: float, text: str, head: str) -> list[Any]:
    return [
        geom_text(
            aes(y="y", label=text),
            data=frame.assign(ratio=at),
            ha="left",
            size=LABEL_SIZE,
            color=INK,
        ),
        annotate("text", x=at, y=len(frame), label=head, ha="left", size=LABEL_SIZE, color=MUTED),
    ]


def _range(frame: pd.DataFrame) -> tuple[float, float]:
    return _limits_of(frame["lower"], frame["upper"])


def _limits_of(lower: pd.Series, upper: pd.Series) -> tuple[float, float]:
    """Return the ends of a log axis: from a half to two at least, tenfold at most."""
    low = float(np.exp(np.nanmin([*lower, np.log(0.5)])))
    high = float(np.exp(np.nanmax([*upper, np.log(2.0)])))
    return max(0.9 * low, 0.09), min(1.1 * high, 11.0)


def _clear(fit: ModelFit) -> list[int]:
    """Coefficients whose limits leave out one, the furthest from one first."""
    found = np.flatnonzero((fit.lower > 1) | (fit.upper < 1))
    return sorted(found.tolist(), key=lambda i: -abs(float(fit.coefficients[i])))


def _title(result: ModelResult, fit: ModelFit) -> str:
    clear = _clear(fit)
    reason = noun_of(result.reason)
    if not clear:
        return f"No difference in removal for {reason} is clear in this model"
    column = fit.columns[clear[0]]
    often = "more" if fit.coefficients[clear[0]] > 0 else "less"
    what = (
        f"higher {quantity_of(column.term)[0]}"
        if column.level is None
        else effect_of(column.term, column.level)
    )
    return f"Removal for {reason} is {often} frequent with {what}"


def _alt(fit: ModelFit) -> str:
    parts = [
        f"{effect_of(column.term, column.level)} {with_limits(r, lo, up, ratio_text)}"
        for column, r, lo, up in zip(
            fit.columns, fit.hazard_ratio, fit.lower, fit.upper, strict=True
        )
    ]
    return f"Ratios with 95% limits: {'; '.join(parts)}."


def _check_title(check: PhCheck) -> str:
    doubtful = [t.term for t in check.tests[:-1] if t.p_value < 0.05]
    if not doubtful:
        return "The ratios hold over the whole course"
    return f"The ratio changes with time for {', '.join(quantity_of(t)[0] for t in doubtful)}"


def _check_alt(check: PhCheck) -> str:
    parts = [f"{quantity_of(t.term)[0]} {p_value(t.p_value)}" for t in check.tests]
    return f"Tests of ratios that change with time: {', '.join(parts)}."
