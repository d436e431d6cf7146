"""The thin panel under a control chart: evidence of a doubling upwards, of a halving downwards."""

from __future__ import annotations

from typing import Any

import pandas as pd
from plotnine import aes, element_blank, facet_grid, geom_blank, geom_line, geom_point, theme

from pipeline.analysis.charts.cusum import Cusum
from pipeline.figures import chart_frames as frames
from pipeline.figures.chart_text import on_paper
from pipeline.figures.look import CENTRE, INK, LIMIT, POINT, SIGNAL
from pipeline.words.numbers import month

READ, EVIDENCE = "", "evidence"
"""The panel that people read, and the one beneath."""

HEIGHTS = [3.4, 1.0]
ROOM = 1.25
EXTRA_CM = 1.9
"""What the panel adds to a figure's height."""


BENEATH = (
    "beneath, the evidence month by month that the rate has doubled (up) or halved (down) from "
    "its baseline, which is watched from 1 on and named by its month"
)
"""What the panel is, for a caption."""


def evidence_layers(cusum: Cusum, timeline: frames.Timeline) -> list[Any]:
    """Draw both sums as shares of their limits, and name each month that reached one.

    Parameters
    ----------
    cusum : Cusum
        By month, over the same months as the chart.
    timeline : Timeline
    """
    x = frames.positions(cusum.periods, timeline)
    paths = pd.concat(
        [
            pd.DataFrame({"side": sign, "x": x, "y": sign * side.path / side.limit})
            for side, sign in ((cusum.up, 1), (cusum.down, -1))
        ]
    )
    ends = [x[0] - 0.5, x[-1] + 0.5]
    lines = pd.DataFrame({"side": [-1, -1, 1, 1], "x": ends * 2, "y": [-1.0, -1.0, 1.0, 1.0]})
    room = pd.DataFrame({"x": ends, "y": [-ROOM, ROOM]})
    layers: list[Any] = [
        geom_blank(_beneath(room)),
        geom_line(_beneath(lines.assign(y=0.0)), aes(group="side"), color=CENTRE, size=0.35),
        geom_line(_beneath(lines), aes(group="side"), color=LIMIT, size=0.35),
        geom_line(_beneath(paths), aes(group="side"), color=POINT, size=0.6),
    ]
    reached = _reached(cusum, x.tolist())
    if len(reached):
        layers.append(geom_point(_beneath(reached), color=SIGNAL, size=1.7))
        named = _beneath(reached.assign(y=reached["y"] * 0.5))
        layers.append(on_paper(named, ha="left", nudge_x=0.012 * timeline.length, color=INK))
    return layers


def _reached(cusum: Cusum, x: list[float]) -> pd.DataFrame:
    """Return where each watch or call began, with its month."""
    rows = [
        (x[s.points[0]], 1.0 if s.direction == "above" else -1.0, month(s.first))
        for s in cusum.signals(rare=False)
    ]
    return pd.DataFrame(rows, columns=["x", "y", "label"])


def _beneath(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.assign(panel=pd.Categorical([EVIDENCE] * len(frame), [READ, EVIDENCE]))


def two_panels() -> list[Any]:
    """Set the evidence under the chart, on the same months."""
    facets = facet_grid(rows="panel", scales="free_y", space={"y": HEIGHTS, "x": [1]})
    return [facets, theme(strip_text_y=element_blank(), panel_spacing_y=0.02)]
