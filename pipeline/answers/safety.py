"""Safety measures at every site: each judged for itself, and every case of a call named."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.answers.chart_series import read_series
from pipeline.answers.drawn_charts import draw_charts
from pipeline.answers.verdicts import direction_of
from pipeline.measures.catalogue import Measure, measures_in_force
from pipeline.measures.dimensions import site_labels
from pipeline.measures.periods import EARLIEST, months_of
from pipeline.settings import Settings
from pipeline.store import Store


@dataclass(frozen=True, slots=True)
class SafetyCall:
    """A safety measure that has become worse at one site.

    Attributes
    ----------
    measure : Measure
    site, label : str
        Code, and what is printed.
    since : str
        The first month that told.
    quarter : str
    cases : tuple of (str, int)
        Months of the quarter with a case, and how many.
    catheters : float
        Of the quarter.
    """

    measure: Measure
    site: str
    label: str
    since: str
    quarter: str
    cases: tuple[tuple[str, int], ...]
    catheters: float

    @property
    def number_id(self) -> str:
        """Id of its cases."""
        return f"{self.measure.name}/site/{self.site}/{self.quarter}"


def safety_calls(store: Store, quarter: str, settings: Settings) -> tuple[SafetyCall, ...]:
    """Return the sites with cases at which a safety measure is worse than its baseline.

    Outside every filter against chance findings: a site is not weighed against others.

    Raises
    ------
    NoDataError
        The store holds no episode up to it.
    """
    first, last = months_of(quarter)
    measures = [one for one in measures_in_force(settings) if one.is_safety]
    parts = read_series(store, measures, by="site", months=(EARLIEST, last), settings=settings)
    labels, found = site_labels(store), []
    for part, chart in zip(parts, draw_charts(parts), strict=True):
        worse = [
            s for s in chart.signals
            if s.kind == "call" and s.last >= first
            and direction_of(s.direction, part.measure.better, rare=chart.is_of_gaps) == "worse"
        ]  # fmt: skip
        months = part.counts.months or part.counts
        inside = [i for i, month in enumerate(months.periods) if first <= month <= last]
        cases = [(months.periods[i], round(months.numerator[i])) for i in inside]
        cases = [(month, number) for month, number in cases if number]
        if not (worse and cases):
            continue
        found.append(
            SafetyCall(
                part.measure, part.group, labels.get(part.group, part.group), worse[0].first,
                quarter, tuple(cases),
                float(months.denominator[inside].sum()),
            )
        )  # fmt: skip
    return tuple(found)
