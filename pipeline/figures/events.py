"""Serious events by month, and improvement actions from decision to due month."""

from __future__ import annotations

import polars as pl
from plotnine import aes, geom_point, geom_segment, ggplot, labs, scale_fill_manual

from pipeline.figures.look import INK, MUTED, WIDE_CM, Drawing, look
from pipeline.words.codes import words_of

ROW_CM = 0.8  # height of one kind of event, or of one action


def events_figure(rows: pl.DataFrame) -> Drawing:
    """Draw a point an event by month of placement; those not reviewed are filled.

    Parameters
    ----------
    rows : polars.DataFrame
        `placed_month`, `kind` and `is_reviewed`.
    """
    drawn = rows.with_columns(
        kind=pl.col("kind").map_elements(words_of, return_dtype=pl.String),
        review=pl.when("is_reviewed").then(pl.lit("reviewed")).otherwise(pl.lit("not reviewed")),
    )
    plot = (
        ggplot(drawn, aes("placed_month", "kind", fill="review"))
        + geom_point(color=INK, size=2.4)
        + scale_fill_manual({"reviewed": "white", "not reviewed": INK})
        + labs(x="Month of placement", y="", fill="")
        + look()
    )
    waiting = rows.filter(~pl.col("is_reviewed")).height
    return Drawing(
        plot,
        title=f"Serious events: {rows.height}, of which {waiting} not reviewed",
        caption="A point an event, by month of placement; filled where it was not reviewed.",
        alt=f"{rows.height} serious events, {waiting} of them not reviewed.",
        width_cm=WIDE_CM[0],
        height_cm=4.0 + ROW_CM * drawn["kind"].n_unique(),
    )


def actions_figure(rows: pl.DataFrame) -> Drawing:
    """Draw each improvement action from the month of its decision to that in which it is due.

    Parameters
    ----------
    rows : polars.DataFrame
        `title`, `decided_month`, `due_month`, `state` and `is_overdue`.
    """
    drawn = rows.with_columns(due_month=pl.coalesce("due_month", "decided_month"))
    plot = (
        ggplot(drawn, aes("due_month", "title"))
        + geom_segment(aes(x="decided_month", xend="due_month", yend="title"), color=MUTED)
        + geom_point(color=INK, size=2.4)
        + labs(x="", y="")
        + look()
    )
    overdue = drawn["is_overdue"].sum()
    return Drawing(
        plot,
        title=f"Improvement actions: {drawn.height}, of which {overdue} overdue",
        caption="A line runs from the month of the decision to the month in which it is due.",
        alt=f"{drawn.height} improvement actions, {overdue} of them overdue.",
        width_cm=WIDE_CM[0],
        height_cm=4.0 + ROW_CM * drawn.height,
    )
