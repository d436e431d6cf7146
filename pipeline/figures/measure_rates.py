"""Rates of measures in groups or periods, each with its limits."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl
from plotnine import (
    aes,
    element_text,
    facet_wrap,
    geom_linerange,
    geom_point,
    ggplot,
    labs,
    scale_x_discrete,
)  # fmt: skip

from pipeline.figures.look import INK, MUTED, WIDE_CM, Drawing, look

PANEL_CM = 4.6  # height of one measure's panel


def rates_figure(rows: pl.DataFrame, by: Sequence[str]) -> Drawing:
    """Draw rates with 95% limits, a panel a measure, groups in the order of the rows.

    Parameters
    ----------
    rows : polars.DataFrame
        `measure`, the columns of `by`, `rate`, `lower`, `upper` and `unit`; rows without a
        rate are left out.
    by : sequence of str
        The groups' columns; none draws one point a measure.
    """
    group = pl.concat_str(list(by), separator=", ") if by else pl.lit("all")
    drawn = rows.filter(pl.col("rate").is_not_null()).with_columns(
        group=group,
        panel=pl.concat_str("measure", "unit", separator=", ").str.replace_all("_", " "),
    )
    groups = drawn["group"].unique(maintain_order=True).to_list()
    panels = drawn["panel"].unique(maintain_order=True).to_list()
    plot = (
        ggplot(drawn, aes("group", "rate"))
        + geom_linerange(aes(ymin="lower", ymax="upper"), color=MUTED)
        + geom_point(color=INK, size=1.8)
        + facet_wrap("panel", ncol=1, scales="free_y")
        + scale_x_discrete(limits=groups)
        + labs(x="", y="")
        + look(axis_text_x=element_text(rotation=90 if len(groups) > 8 else 0))
    )
    named = "; ".join(
        f"{row['panel']}, {row['group']}: {row['rate']:.3g} ({row['lower']:.3g} to"
        f" {row['upper']:.3g})"
        for row in drawn.to_dicts()
    )
    return Drawing(
        plot,
        title=f"Rates by {', '.join(by)}" if by else "Rates",
        caption="Points are rates, lines their 95% limits (Wilson, or exact Poisson).",
        alt=f"Rates with 95% limits. {named}.",
        width_cm=WIDE_CM[0],
        height_cm=2.0 + PANEL_CM * len(panels),
    )
