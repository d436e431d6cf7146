"""Time in place of released figures: steps at the hours that are told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import polars as pl
from plotnine import (
    aes,
    geom_line,
    geom_point,
    ggplot,
    labs,
    scale_color_manual,
    scale_x_continuous,
)

from pipeline.figures.look import BLUE, CHART_CM, LIMIT, SKY, Drawing, look

if TYPE_CHECKING:
    from pipeline.answers.released import ToldCurve

SHADES = (LIMIT, SKY, BLUE)  # the latest span is the darkest


def told_curve_figure(curves: Sequence[ToldCurve], names: Sequence[str]) -> Drawing:
    """Draw the share of catheters still in place, of up to three spans.

    Parameters
    ----------
    curves : sequence of ToldCurve
        In order of time.
    names : sequence of str
        Of the spans.
    """
    curves, names = curves[-3:], list(names[-3:])
    frame = pl.concat(
        pl.DataFrame(
            {"hours": c.hours, "share": [100.0 * s for s in c.still_in_place]}
        ).with_columns(span=pl.lit(name))
        for c, name in zip(curves, names, strict=True)
    )
    plot = (
        ggplot(frame, aes("hours", "share", color="span"))
        + geom_line(size=0.6)
        + geom_point(size=1.2)
        + scale_color_manual(values=list(SHADES[-len(names) :]), limits=names)
        + scale_x_continuous(breaks=list(range(0, 97, 24)))
        + labs(x="Hours since placement", y="Still in place, %", color="")
        + look(legend_position="top")
    )
    last, name = curves[-1], names[-1]
    said = "; ".join(
        f"{hour} h {100 * share:.0f}%"
        for hour, share in zip(last.hours, last.still_in_place, strict=True)
    )
    return Drawing(
        plot,
        title=f"How long catheters stay, {name}",
        caption="Share of catheters with a known time of removal that were still in place; "
        "points are the hours at which nobody or enough children had left since the one before.",
        alt=f"Still in place in {name}: {said}.",
        width_cm=CHART_CM[0],
        height_cm=CHART_CM[1],
    )
