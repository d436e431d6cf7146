"""The pump's expected run-time against time in place, by flow rate."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from plotnine import (
    aes,
    coord_flip,
    element_blank,
    geom_col,
    geom_text,
    ggplot,
    labs,
    position_stack,
    scale_fill_manual,
    scale_y_continuous,
)

from pipeline.analysis.survival.pump import FLOW_TOLERANCE, PumpRow
from pipeline.figures.look import GRID, INK, ORANGE, SKY, WIDE_CM, Drawing, look

WORDS = {
    "emptied_early": "empty before removal",
    "together": "empty at about removal",
    "drug_left": "removed with drug left",
}
COLOURS = {"emptied_early": ORANGE, "together": GRID, "drug_left": SKY}
FEWEST_LABELLED = 7.0  # per cent; a narrower piece has no room for its figure


def pump_figure(rows: Sequence[PumpRow]) -> Drawing:
    """Draw what share of pumps was empty before removal, one bar a flow rate.

    Parameters
    ----------
    rows : sequence of PumpRow
        From the top down, the row of all rates last where it is shown.
    """
    rows = list(rows)[::-1]
    frame = pd.DataFrame(
        [
            (_name(row), outcome, 100 * getattr(row, outcome) / row.catheters)
            for row in rows
            for outcome in WORDS
        ],
        columns=["rate", "outcome", "percent"],
    )
    frame["rate"] = pd.Categorical(frame["rate"], [_name(row) for row in rows])
    frame["outcome"] = pd.Categorical(frame["outcome"], list(WORDS)[::-1])
    wide = frame["percent"] >= FEWEST_LABELLED
    frame["label"] = [f"{p:.0f}%" if w else "" for p, w in zip(frame["percent"], wide, strict=True)]
    plot = ggplot(frame, aes("rate", "percent", fill="outcome"))
    plot += geom_col(width=0.68)
    plot += geom_text(aes(label="label"), position=position_stack(vjust=0.5), size=8, color=INK)
    plot += scale_fill_manual(values=COLOURS, breaks=list(WORDS), labels=list(WORDS.values()))
    plot += scale_y_continuous(
        breaks=[0, 25, 50, 75, 100],
        labels=["0%", "25%", "50%", "75%", "100%"],
        expand=(0, 0),
    )
    plot += coord_flip()
    plot += labs(x="", y="Catheters")
    plot += look(panel_grid_major=element_blank())
    return Drawing(
        plot,
        title=_title(rows[0]),
        caption=(
            "Expected run-time is the filled volume by the flow rate; within "
            f"{100 * FLOW_TOLERANCE:.0f}% of it counts as about the same time."
        ),
        alt=_alt(rows),
        width_cm=WIDE_CM[0],
        height_cm=2.8 + 0.75 * len(rows),
    )


def _name(row: PumpRow) -> str:
    rate = f"{row.rate_ml_h:g} ml/h" if row.rate_ml_h == row.rate_ml_h else "all rates"
    return f"{rate} ({row.catheters:,})"


def _title(row: PumpRow) -> str:
    where = "" if row.rate_ml_h != row.rate_ml_h else f" at {row.rate_ml_h:g} ml/h"
    return (
        f"{row.emptied_early_pct[0]:.0f}% of pumps{where} were empty before removal; "
        f"{row.drug_left_pct[0]:.0f}% of catheters came out with drug left"
    )


def _alt(rows: Sequence[PumpRow]) -> str:
    parts = [
        f"{_name(row)}: {row.emptied_early_pct[0]:.0f}% empty before removal, "
        f"{row.drug_left_pct[0]:.0f}% removed with drug left, expected run-time "
        f"{row.median_runtime_h:g} h, time in place {row.median_dwell_h:g} h (medians)"
        for row in rows
    ]
    return f"{'; '.join(parts)}."
