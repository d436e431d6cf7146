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
from pipeline.analysis.charts.signals import RULES

__all__ = [
    "KINDS",
    "RULES",
    "Change",
    "Choice",
    "ControlChart",
    "Counts",
    "Phase",
    "Signal",
    "control_chart",
    "control_charts",
]
