"""Control charts that say what they can and cannot see.

`control_chart` takes one series and `control_charts` many; both return frozen
`ControlChart` results, ready to draw.
"""

from pipeline.analysis.charts.chart import control_chart, control_charts
from pipeline.analysis.charts.results import (
    KINDS,
    Change,
    ControlChart,
    Counts,
    Phase,
    Signal,
    spoken,
)
from pipeline.analysis.charts.signals import DEFAULT_RULES, RULES

__all__ = [
    "DEFAULT_RULES",
    "KINDS",
    "RULES",
    "Change",
    "ControlChart",
    "Counts",
    "Phase",
    "Signal",
    "control_chart",
    "control_charts",
    "spoken",
]
