"""What follows from the figures of a release: rates, charts, curves and groups.

Nothing here reads a store, so nothing here can tell more than the figures do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.charts import ControlChart, Counts, control_chart
from pipeline.analysis.rates.rates import rates
from pipeline.answers.chart_rules import need_of
from pipeline.answers.release import Release, ReleasedCell
from pipeline.disclosure.frozen import NETWORK
from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.measures.release_counts import HOUR, HOURS, LEADING, REASON
from pipeline.settings import Settings

FEWEST_POINTS = 4  # of a chart that is worth drawing


@dataclass(frozen=True)
class ToldRate:
    """One figure and its rate; all None where the figure is withheld.

    Attributes
    ----------
    measure : Measure
        Its card.
    cell : Cell
        The figure.
    rate, lower, upper : float or None
        In the measure's unit, with 95% limits; from what is told alone.
    """

    measure: Measure
    cell: ReleasedCell
    rate: float | None = None
    lower: float | None = None
    upper: float | None = None

    @property
    def is_told(self) -> bool:
        """Whether there is a figure."""
        return self.rate is not None


def measures_of(release: Release) -> list[Measure]:
    """Return the measures in order of importance: those that lead, then as in the catalogue."""
    counted = {cell.item for cell in release.cells}
    known = [measure for name, measure in load_catalogue().items() if name in counted]
    return sorted(known, key=lambda measure: measure.name not in LEADING)


def told_rates(release: Release, measure: Measure, family: str = NETWORK) -> list[ToldRate]:
    """Return a measure's figures in order of group and time."""
    cells = [c for c in release.cells if c.item == measure.name and c.family == family]
    return [_rate(measure, cell) for cell in cells]


def _rate(measure: Measure, cell: ReleasedCell) -> ToldRate:
    if cell.base is None or not cell.base:
        return ToldRate(measure, cell)
    found = rates(
        cell.events or 0,
        cell.base,
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
    )
    return ToldRate(measure, cell, float(found.rate), float(found.lower), float(found.upper))


def told_chart(release: Release, measure: Measure) -> ControlChart | None:
    """Return the control chart of a measure's figures; None where there are too few.

    A point is a quarter, or a longer span that is told as one and stands at its end.
    """
    told = [row.cell for row in told_rates(release, measure) if row.is_told]
    if len(told) < FEWEST_POINTS:
        return None
    counts = Counts(
        tuple(cell.last for cell in told),
        np.array([cell.events for cell in told], float),
        np.array([cell.base for cell in told], float),
    )
    kind = "p" if measure.denominator_kind == "proportion" else "u"
    need = need_of(Settings(), "quarter")
    return control_chart(
        counts, kind=kind, multiplier=measure.multiplier, unit=measure.unit, need=need
    )


@dataclass(frozen=True)
class ToldCurve:
    """Time in place over a span, at the hours that are told.

    Attributes
    ----------
    first, last : str
        First and last quarter.
    hours : tuple of int
        From 0 on.
    still_in_place : tuple of float
        Share of catheters with a known time of removal.
    removed : tuple of int
        Catheters removed by then.
    base : float
        Catheters with a known time of removal, rounded.
    """

    first: str
    last: str
    hours: tuple[int, ...]
    still_in_place: tuple[float, ...]
    removed: tuple[int, ...]
    base: float


def told_curves(release: Release) -> list[ToldCurve]:
    """Return a curve for every span in which hours are told, in order."""
    spans = dict.fromkeys(
        (cell.first, cell.last) for cell in _told(release) if cell.item.startswith(HOUR)
    )
    return [_curve(release, *span) for span in sorted(spans)]


def _curve(release: Release, first: str, last: str) -> ToldCurve:
    told = {cell.item: cell for cell in _told(release) if (cell.first, cell.last) == (first, last)}
    found = [(hour, told[f"{HOUR}{hour}"]) for hour in HOURS if f"{HOUR}{hour}" in told]
    removed = [cell.events or 0 for _, cell in found]
    base = found[0][1].base or 0.0
    return ToldCurve(
        first,
        last,
        (0, *(hour for hour, _ in found)),
        (1.0, *(1.0 - events / base for events in removed)),
        (0, *removed),
        base,
    )


def told_reasons(release: Release) -> list[tuple[str, ReleasedCell]]:
    """Return the reasons for removal that are told, with their figures."""
    return [
        (cell.item.removeprefix(REASON), cell)
        for cell in _told(release)
        if cell.item.startswith(REASON)
    ]


def totals(release: Release, item: str) -> list[ReleasedCell]:
    """Return a total's figures of the whole network, in order of time."""
    return [cell for cell in _told(release) if cell.item == item]


def _told(release: Release) -> Iterator[ReleasedCell]:
    return (cell for cell in release.cells if cell.family == NETWORK and cell.base is not None)
