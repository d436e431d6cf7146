"""Control charts that say what they can and cannot see.

`control_chart` takes one series and `control_charts` many; both return frozen
`ControlChart` results, ready to draw.
"""

from pipeline.analysis.charts.chart import control_chart, control_charts
from pipeline.analysis.charts.results import (
    KINDS,
    Change,
    Choice,
    ControlChart,
    Counts,
    Phase,
    Signal,
)

__all__ = [
    "KINDS",
    "Change",
    "Choice",
    "ControlChart",
    "Counts",
    "Phase",
    "Signal",
    "control_chart",
    "control_charts",
]
