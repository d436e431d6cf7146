"""Ratios of complete cases beside those with the missing imputed."""

from __future__ import annotations

import polars as pl
from plotnine import (
    aes,
    facet_wrap,
    geom_hline,
    geom_pointrange,
    ggplot,
    labs,
    position_dodge,
    scale_fill_manual,
    scale_y_log10,
)

from pipeline.figures.look import CENTRE, INK, WIDE_CM, Drawing, look
from pipeline.words.codes import words_of

PANEL_CM = 5.0  # height of one measure's panel


def imputed_figure(rows: pl.DataFrame) -> Drawing:
    """Draw observed-to-expected ratios of each group, complete cases beside imputed.

    Parameters
    ----------
    rows : polars.DataFrame
        As `ImputedGroups.frame` gives them.
    """
    complete = rows.select(
        "measure", "group", ratio="complete", lower="complete_lower", upper="complete_upper",
        of=pl.lit("complete cases"),
    )  # fmt: skip
    imputed = rows.select("measure", "group", "ratio", "lower", "upper", of=pl.lit("imputed"))
    drawn = pl.concat([complete, imputed]).with_columns(
        pl.col("measure", "group").map_elements(words_of, return_dtype=pl.String)
    )
    plot = (
        ggplot(drawn, aes("group", "ratio", ymin="lower", ymax="upper", fill="of"))
        + geom_hline(yintercept=1.0, color=CENTRE)
        + geom_pointrange(color=INK, position=position_dodge(0.5), size=0.4)
        + scale_fill_manual({"complete cases": "white", "imputed": INK})
        + scale_y_log10()
        + facet_wrap("measure", ncol=1)
        + labs(x="", y="Observed to expected", fill="")
        + look()
    )
    return Drawing(
        plot,
        title="Complete cases beside the missing imputed",
        caption="Points are observed to expected numbers, lines their 95% limits (Rubin's rules).",
        alt="; ".join(
            f"{row['measure']}, {row['group']}: {row['complete']} of complete cases,"
            f" {row['ratio']} imputed"
            for row in rows.to_dicts()
        ),
        width_cm=WIDE_CM[0],
        height_cm=2.0 + PANEL_CM * rows["measure"].n_unique(),
    )
