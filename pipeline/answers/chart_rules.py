"""What a baseline must hold, and how seldom a chart may be wrong, by the settings."""

from __future__ import annotations

from math import ceil

from pipeline.analysis.charts.cusum import RunLengths
from pipeline.analysis.charts.phases import Need
from pipeline.measures.catalogue import Measure, measures_in_force
from pipeline.settings import Settings

WATCH_MONTHS = 360.0
# Months to a false call on one side, for each ordinary measure looked at together: with
# nothing changed a page then calls something in under a tenth of its quarters (measured).
CALL_MONTHS = 36.0


def months_a_point(period: str) -> int:
    """Return how many months a point is."""
    return 3 if period == "quarter" else 1


def need_of(settings: Settings, period: str) -> Need:
    """Return what a baseline must hold."""
    return Need(ceil(settings.baseline_months / months_a_point(period)), settings.baseline_events)


def run_lengths(measure: Measure, settings: Settings, period: str, looked_at: int) -> RunLengths:
    """Return how seldom a chart may be wrong, among all that are looked at with it.

    A safety measure stands for itself: what it finds is not weighed against the others.

    Parameters
    ----------
    looked_at : int
        Charts of each measure on the page: one of the network, or one a group.
    """
    months = months_a_point(period)
    if measure.is_safety:
        run = settings.in_control_run_length / months
        return RunLengths(run, run, cautious=False)
    ordinary = sum(not one.is_safety for one in measures_in_force(settings))
    return RunLengths(WATCH_MONTHS / months, CALL_MONTHS * ordinary * looked_at / months)
