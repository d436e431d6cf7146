"""Why catheters come out early: the reasons stacked, for all catheters or side by side.

A completed course is what most catheters come out for: it stands in the words, and the other
reasons have a scale of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    coord_cartesian,
    facet_wrap,
    geom_ribbon,
    geom_segment,
    geom_text,
    ggplot,
    guide_legend,
    guides,
    labs,
    scale_fill_manual,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.survival.event_counts import Floats
from pipeline.analysis.survival.incidence import Incidence
from pipeline.figures.look import INK, LIMIT, PAPER, REASON_COLOURS, WIDE_CM, Drawing, look
from pipeline.figures.steps import HOURS_SHOWN, spread, stepped
from pipeline.words.codes import words_of
from pipeline.words.numbers import percent

USUAL = "completed"
LABEL_GAP = 0.06  # between labels at the right, of the whole height
HEADROOM = 1.08  # of the scale above the highest band
RIGHT_OF_CURVES = 48.0  # hours, for the labels
COLUMNS = 3
HOUR = 72.0  # of which the title and the alternative text speak


def incidence_figure(results: Sequence[Incidence], *, until_h: float = 96.0) -> Drawing:
    """Draw the incidence of the reasons other than completion, stacked.

    Parameters
    ----------
    results : sequence of Incidence
        One a group with the same reasons; several are drawn side by side.
    until_h : float
        End of the time axis, hours.
    """
    order = _stacking(results)
    frame = pd.concat([_bands(result, order, until_h) for result in results])
    groups = [result.group for result in results]
    frame["reason"] = pd.Categorical(frame["reason"], order[::-1])
    frame["group"] = pd.Categorical(frame["group"], groups)
    single = len(results) == 1
    plot = ggplot(frame, aes("hour", ymin="low", ymax="high", fill="reason"))
    plot += geom_ribbon(color=PAPER, size=0.15, outline_type="full")
    colours = {reason: REASON_COLOURS.get(reason, LIMIT) for reason in order}
    plot += scale_fill_manual(values=colours, labels=[words_of(r) for r in order[::-1]])
    top = HEADROOM * float(frame["high"].max() or 0.01)
    plot += _axes(until_h, single=single)
    plot += labs(x="Hours since placement", y="Removed early")
    right = until_h + (RIGHT_OF_CURVES if single else 0)
    plot += coord_cartesian(xlim=(0, right), ylim=(0, top), expand=False)
    if single:
        plot += _labels(results[0], order, until_h, top)
        plot += look(legend_position="none")
    else:
        plot += facet_wrap("group", ncol=min(COLUMNS, len(results)))
        plot += [guides(fill=guide_legend(ncol=4, reverse=True)), look(panel_spacing=0.04)]
    rows = -(-len(results) // COLUMNS)
    return Drawing(
        plot,
        title=_title(results),
        caption=(
            "Aalen-Johansen estimate of the reasons other than a completed course, stacked."
            + (f" Labels: share out by {until_h:g} h." if single else "")
        ),
        alt=_alt(results, order),
        width_cm=WIDE_CM[0],
        height_cm=WIDE_CM[1] if single else 2.6 + 5.4 * rows,
    )


def _stacking(results: Sequence[Incidence]) -> list[str]:
    """Reasons other than a completed course, from the bottom: the most frequent first."""
    weight: dict[str, int] = {}
    for result in results:
        for reason, n in zip(result.reasons, result.events.sum(axis=0).tolist(), strict=True):
            weight[reason] = weight.get(reason, 0) + n
    seen = [reason for reason, n in weight.items() if n > 0 and reason != USUAL]
    # Where none came out early an empty band is drawn.
    return sorted(seen, key=lambda reason: (-weight[reason], reason)) or ["other"]


def _share(result: Incidence, reason: str) -> Floats:
    """Incidence of a reason, zero where the group does not list it, shape (m,)."""
    if reason not in result.reasons:
        return np.zeros(len(result.hours))
    column: Floats = result.incidence[:, result.reasons.index(reason)]
    return column


def _share_at(result: Incidence, reason: str, hour: float) -> float:
    at = result.at([hour])
    return float(at.incidence[0, at.reasons.index(reason)]) if reason in at.reasons else 0.0


def _bands(result: Incidence, order: Sequence[str], until_h: float) -> pd.DataFrame:
    columns = [_share(result, reason) for reason in order]
    all_out = bool(len(result.hours)) and result.still_in_place[-1] == 0
    starts = [0.0] * len(order)
    hours, drawn = stepped(result.hours, columns, starts, until_h, all_out=all_out)
    high = np.cumsum(drawn, axis=0) if drawn else np.empty((0, len(hours)))
    parts = [
        pd.DataFrame(
            {
                "hour": hours,
                "low": high[i] - drawn[i],
                "high": high[i],
                "reason": reason,
                "group": result.group,
            }
        )
        for i, reason in enumerate(order)
    ]
    return pd.concat(parts or [pd.DataFrame(columns=["hour", "low", "high", "reason", "group"])])


def _axes(until_h: float, *, single: bool) -> list[Any]:
    every = HOURS_SHOWN if single else (0, 24, 48, 72, 96)
    ticks = [hour for hour in every if hour <= until_h]
    return [
        scale_x_continuous(breaks=ticks, labels=[f"{h:g}" for h in ticks]),
        scale_y_continuous(labels=lambda heights: [f"{100 * h:g}%" for h in heights]),
    ]


def _labels(result: Incidence, order: Sequence[str], until_h: float, top: float) -> list[Any]:
    """Name each band at its right end, with a thin line where the name had to move."""
    last = float(result.hours[-1]) if len(result.hours) else 0.0
    end = until_h if len(order) and result.still_in_place[-1] == 0 else min(until_h, last)
    share = np.array([_share_at(result, reason, end) for reason in order])
    middle = np.cumsum(share) - share / 2
    frame = pd.DataFrame(
        {
            "x": end,
            "y": middle,
            "to": until_h + 4,
            "text_at": until_h + 5,
            "label_y": spread(list(middle), LABEL_GAP * top, 0.02 * top, 0.98 * top),
            "label": [f"{words_of(r)} {percent(p)}" for r, p in zip(order, share, strict=True)],
        }
    )
    return [
        geom_segment(
            aes("x", "y", xend="to", yend="label_y"),
            data=frame,
            inherit_aes=False,
            color=LIMIT,
            size=0.3,
        ),
        geom_text(
            aes("text_at", "label_y", label="label"),
            data=frame,
            inherit_aes=False,
            ha="left",
            size=7.5,
            color=INK,
        ),
    ]


def _early(result: Incidence) -> list[tuple[float, str]]:
    """Shares out for reasons other than the completed course, largest first."""
    at = result.at([HOUR]).incidence[0]
    return sorted(
        ((float(p), r) for p, r in zip(at, result.reasons, strict=True) if r != USUAL and p > 0),
        key=lambda x: (-x[0], x[1]),
    )


def _title(results: Sequence[Incidence]) -> str:
    if len(results) > 1:
        shares = sorted((sum(p for p, _ in _early(r)), r.group) for r in results)
        (low, least), (high, most) = shares[0], shares[-1]
        return (
            f"Out by {HOUR:g} h for a reason other than completion: "
            f"{percent(low)} ({least}) to {percent(high)} ({most})"
        )
    early = _early(results[0])
    if not early:
        return f"No catheter was out by {HOUR:g} h for a reason other than completion"
    share = percent(sum(p for p, _ in early))
    largest, reason = early[0]
    return (
        f"By {HOUR:g} h {share} were out for a reason other than completion, most often "
        f"{words_of(reason)} ({percent(largest)})"
    )


def _alt(results: Sequence[Incidence], order: Sequence[str]) -> str:
    parts = []
    for result in results:
        at = result.at([HOUR])
        if not np.isfinite(at.still_in_place[0]):
            parts.append(f"{result.group or 'all'}: not followed to {HOUR:g} h")
            continue
        said = [f"{words_of(r)} {percent(_share_at(result, r, HOUR))}" for r in (*order, USUAL)]
        still = f"still in place {percent(at.still_in_place[0])}"
        name = f"{result.group}: " if result.group else ""
        parts.append(f"{name}{', '.join([*said, still])}")
    return f"At {HOUR:g} h: {'; '.join(parts)}."
