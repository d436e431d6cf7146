"""Still in place against the planned end, a line a planned course."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from plotnine import (
    aes,
    annotate,
    coord_cartesian,
    geom_line,
    geom_text,
    geom_vline,
    ggplot,
    labs,
    scale_color_manual,
    scale_x_continuous,
    scale_y_continuous,
)

from pipeline.analysis.survival.planned_end import FromPlannedEnd
from pipeline.figures.look import (
    LABEL_SIZE,
    LIMIT,
    MUTED,
    WIDE_CM,
    Drawing,
    group_colours,
    look,
)
from pipeline.figures.steps import spread, stepped
from pipeline.words.numbers import figure, joined

FROM_H, UNTIL_H = -72, 24
NAMED_AT_H, NAMES_H = -6.0, 3.0  # names stand right of the cliff, as high as the curves before it
NAME_GAP = 0.07


def planned_end_figure(curves: Sequence[FromPlannedEnd]) -> Drawing:
    """Draw the proportion still in place by hours from the planned end.

    Parameters
    ----------
    curves : sequence of FromPlannedEnd
        One a group, named as printed.
    """
    names = [curve.group for curve in curves]
    frame = pd.concat([_corners(curve) for curve in curves])
    frame["group"] = pd.Categorical(frame["group"], names)
    ticks = list(range(FROM_H, UNTIL_H + 1, 12))
    named = [f"{h:+d}" if h else "0" for h in ticks]
    heights = [0, 0.25, 0.5, 0.75, 1]
    plot = ggplot(frame, aes("hour", "estimate", color="group"))
    plot += geom_vline(xintercept=0, color=LIMIT, size=0.4)
    plot += annotate(
        "text", x=-1, y=0.04, label="planned end", ha="right", size=LABEL_SIZE, color=MUTED
    )
    plot += geom_line(size=0.8)
    plot += geom_text(
        aes("hour", "y", label="group"), data=_names(curves, names), ha="left", size=LABEL_SIZE
    )
    plot += scale_color_manual(values=dict(zip(names, group_colours(names), strict=True)))
    plot += scale_x_continuous(breaks=ticks, labels=named)
    plot += scale_y_continuous(breaks=heights, labels=[f"{100 * h:g}%" for h in heights])
    plot += coord_cartesian(xlim=(FROM_H - 2, UNTIL_H + 8), ylim=(0, 1.03), expand=False)
    plot += labs(x="Hours from the planned end", y="Still in place")
    plot += look(legend_position="none")
    return Drawing(
        plot,
        title=_title(curves),
        caption="Kaplan-Meier estimate on a clock that is at zero when each course should end.",
        alt=_alt(curves),
        width_cm=WIDE_CM[0],
        height_cm=WIDE_CM[1],
    )


def _corners(curve: FromPlannedEnd) -> pd.DataFrame:
    clock, end = curve.clock, curve.end_h
    all_out = bool(len(clock.hours)) and clock.estimate[-1] == 0
    hours, (drawn,) = stepped(clock.hours, [clock.estimate], [1.0], end + UNTIL_H, all_out=all_out)
    return pd.DataFrame({"hour": hours - end, "estimate": drawn, "group": curve.group})


def _names(curves: Sequence[FromPlannedEnd], names: Sequence[str]) -> pd.DataFrame:
    before = np.nan_to_num([float(curve.at(NAMED_AT_H).estimate[0]) for curve in curves])
    heights = spread(list(before), NAME_GAP, 0.03, 0.97)
    frame = pd.DataFrame({"hour": NAMES_H, "y": heights, "group": names})
    frame["group"] = pd.Categorical(frame["group"], list(names))
    return frame


def _shares(curves: Sequence[FromPlannedEnd]) -> list[tuple[str, float]]:
    shares = [(curve.group, float(curve.at(np.array([-12.0])).estimate[0])) for curve in curves]
    return [(name, share) for name, share in shares if np.isfinite(share)]


def _title(curves: Sequence[FromPlannedEnd]) -> str:
    said = [f"{figure(100 * share)}% ({name})" for name, share in _shares(curves)]
    if not said:
        return "Time in place against the planned end"
    return f"Still in place 12 h before the planned end: {joined(said)}"


def _alt(curves: Sequence[FromPlannedEnd]) -> str:
    hours = np.array([-24.0, -12.0, 0.0, 12.0])
    parts = []
    for curve in curves:
        at = zip(hours, curve.at(hours).estimate, strict=True)
        said = [f"{figure(100 * p)}% at {h:+g} h" for h, p in at if np.isfinite(p)]
        parts.append(f"{curve.group}: {', '.join(said) or 'not followed'}")
    return f"Still in place by hours from the planned end, {'; '.join(parts)}."
